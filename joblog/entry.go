package joblog

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"strconv"
	"time"
	"unicode/utf8"
)

// Schema is the version of the log format that this package writes. It reads
// every version up to this one.
const Schema = 1

// Names of the parts of a job's folder.
const (
	LogName  = "log.jsonl"
	LockName = "lock"
	AudioDir = "audio"
	tornName = "log.torn-"
)

// maxLine bounds the memory that one line can take, in bytes.
const maxLine = 4 << 20

// timeLayout is RFC 3339 in UTC with as many decimals as needed.
const timeLayout = time.RFC3339Nano

// Hash is a SHA-256.
type Hash [sha256.Size]byte

// String returns the hash as 64 lower-case hexadecimal digits.
func (h Hash) String() string { return hex.EncodeToString(h[:]) }

// MarshalText implements [encoding.TextMarshaler].
func (h Hash) MarshalText() ([]byte, error) { return []byte(h.String()), nil }

// UnmarshalText accepts exactly 64 lower-case hexadecimal digits.
func (h *Hash) UnmarshalText(text []byte) error {
	var got Hash
	if len(text) != hex.EncodedLen(len(got)) {
		return fmt.Errorf("joblog: a hash has %d digits, not %d", hex.EncodedLen(len(got)), len(text))
	}
	if _, err := hex.Decode(got[:], text); err != nil {
		return fmt.Errorf("joblog: hash: %w", err)
	}
	if got.String() != string(text) {
		return errors.New("joblog: hash: digits must be lower case")
	}
	*h = got
	return nil
}

// Head is the end of a log: the number of entries and the hash of the last.
// Kept elsewhere, it proves later that nothing was cut from the end.
type Head struct {
	Seq  uint64 `json:"seq"`
	Hash Hash   `json:"hash"`
}

// Entry is one line of a log.
type Entry struct {
	// Seq counts from 1.
	Seq uint64
	// At is when it happened, in UTC, by the clock of the machine that wrote it.
	At time.Time
	// Kind says which type Body decodes to.
	Kind Kind
	// Body is the JSON of that type. [Decode] reads it.
	Body json.RawMessage
	// Prev is the hash of the entry before; zero for the first.
	Prev Hash
	// Hash is the SHA-256 of the line's bytes before `,"hash":`.
	Hash Hash
}

const (
	hashField = `,"hash":"`
	lineEnd   = `"}`
	tailLen   = len(hashField) + 2*sha256.Size + len(lineEnd)
)

// appendUnhashed appends the line as far as its hash covers it.
func (e Entry) appendUnhashed(b []byte) []byte {
	b = append(b, `{"seq":`...)
	b = strconv.AppendUint(b, e.Seq, 10)
	b = append(b, `,"at":"`...)
	b = e.At.UTC().AppendFormat(b, timeLayout)
	b = append(b, `","kind":"`...)
	b = append(b, e.Kind...)
	b = append(b, `","body":`...)
	b = append(b, e.Body...)
	b = append(b, `,"prev":"`...)
	b = hex.AppendEncode(b, e.Prev[:])
	return append(b, '"')
}

// sealed returns the entry with its hash, and its line with the newline.
func (e Entry) sealed() (Entry, []byte) {
	line := e.appendUnhashed(nil)
	e.Hash = sha256.Sum256(line)
	line = append(line, hashField...)
	line = hex.AppendEncode(line, e.Hash[:])
	line = append(line, lineEnd...)
	return e, append(line, '\n')
}

// parseLine reads one line, without its newline. It accepts only the bytes
// that sealed would write, so two readers can't see two things in one line.
func parseLine(line []byte) (Entry, error) {
	if len(line) <= tailLen {
		return Entry{}, errors.New("too short to be an entry")
	}
	covered, tail := line[:len(line)-tailLen], line[len(line)-tailLen:]
	var hash Hash
	if !bytes.HasPrefix(tail, []byte(hashField)) || !bytes.HasSuffix(tail, []byte(lineEnd)) ||
		hash.UnmarshalText(tail[len(hashField):len(tail)-len(lineEnd)]) != nil {
		return Entry{}, errors.New("does not end with a hash")
	}
	if sha256.Sum256(covered) != hash {
		return Entry{}, errors.New("its hash does not match what it says")
	}
	if !utf8.Valid(covered) {
		return Entry{}, errors.New("is not UTF-8")
	}
	var raw struct {
		Seq  uint64          `json:"seq"`
		At   time.Time       `json:"at"`
		Kind Kind            `json:"kind"`
		Body json.RawMessage `json:"body"`
		Prev Hash            `json:"prev"`
		Hash Hash            `json:"hash"`
	}
	if err := json.Unmarshal(line, &raw); err != nil {
		return Entry{}, fmt.Errorf("is not an entry: %w", err)
	}
	e := Entry(raw)
	if !bytes.Equal(e.appendUnhashed(make([]byte, 0, len(line))), covered) {
		return Entry{}, errors.New("is not written in the one form of an entry")
	}
	e.At = e.At.UTC()
	return e, nil
}

// encodeBody returns the compact JSON of a body, with no HTML escapes: the log
// holds what was said, and whoever shows it escapes it.
func encodeBody(body Body) (json.RawMessage, error) {
	var b bytes.Buffer
	enc := json.NewEncoder(&b)
	enc.SetEscapeHTML(false)
	if err := enc.Encode(body); err != nil {
		return nil, err
	}
	return bytes.TrimSuffix(b.Bytes(), []byte("\n")), nil
}
