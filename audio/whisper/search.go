//go:build whisper && cgo

package whisper

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"sort"
	"strings"

	lib "github.com/ggerganov/whisper.cpp/bindings/go"

	"callout/audio"
)

const (
	beams   = 24 // texts of the language that are followed at once
	alike   = 5  // of them those that begin with the same word, at most
	fitKept = 20 // whole texts of the language that are returned, at most
	kept    = 4  // languages whose tables are kept
	// Nats at which a text of the language is given up: behind the best one as long, behind
	// the best whole one, and behind the free text.
	behind   = 12
	late     = 10
	hopeless = 20
)

// vocabulary is the model's tokens as a tree of bytes.
type vocabulary struct {
	text  []string // of each token below the end token
	nodes []vocabNode
	blank []bool // tokens that the free text never uses
	shape []shape
}

type vocabNode struct {
	next  map[byte]int32
	token int32 // -1: none ends here
}

func newVocabulary(c *lib.Context) *vocabulary {
	v := &vocabulary{nodes: []vocabNode{{token: -1}}}
	end := int(c.Whisper_token_eot())
	v.text, v.blank, v.shape = make([]string, end), make([]bool, end), make([]shape, end)
	for id := range end {
		s := c.Whisper_token_to_str(lib.Token(id))
		v.text[id], v.shape[id] = s, shapeOf(s)
		// The reference implementation's non-speech tokens: symbols that mark music,
		// speakers and sounds. Source: openai-whisper, tokenizer.py.
		v.blank[id] = strings.ContainsAny(s, "\"#()*+/:;<=>@[\\]^_`{|}~♪「」『』") || s == " -" || s == " '"
		if s == "" {
			continue
		}
		at := int32(0)
		for i := range len(s) {
			n := &v.nodes[at]
			if n.next == nil {
				n.next = map[byte]int32{}
			}
			to, ok := n.next[s[i]]
			if !ok {
				to = int32(len(v.nodes))
				n.next[s[i]] = to
				v.nodes = append(v.nodes, vocabNode{token: -1})
			}
			at = to
		}
		if v.nodes[at].token < 0 {
			v.nodes[at].token = int32(id)
		}
	}
	return v
}

// arc is a token that may follow, and the state of the language after it.
type arc struct {
	token int32
	state int
}

// follower lists which tokens may follow in a language, and remembers it.
type follower struct {
	vocab    *vocabulary
	language audio.Language
	arcs     map[int][]arc
}

// follower gives the language's own, which is kept as long as few others are used.
func (e *Engine) follower(l audio.Language) *follower {
	f := e.follow[l]
	if f == nil {
		if e.follow == nil || len(e.follow) == kept {
			e.follow = map[audio.Language]*follower{}
		}
		f = &follower{vocab: e.vocab, language: l, arcs: map[int][]arc{}}
		e.follow[l] = f
	}
	return f
}

func (f *follower) after(state int) []arc {
	if list, ok := f.arcs[state]; ok {
		return list
	}
	var list []arc
	var walk func(node int32, state int)
	walk = func(node int32, state int) {
		n := f.vocab.nodes[node]
		if n.token >= 0 {
			list = append(list, arc{n.token, state})
		}
		for b, to := range n.next {
			if next, ok := f.language.Step(state, b); ok {
				walk(to, next)
			}
		}
	}
	walk(0, state)
	slices.SortFunc(list, func(a, b arc) int { return int(a.token - b.token) })
	f.arcs[state] = list
	return list
}

// hypothesis is a text under way.
type hypothesis struct {
	tokens []int32
	logs   []float64 // of each token
	log    float64   // their sum
	state  int       // of the language
	text   int32     // number of the text in the decoder
}

func (h hypothesis) with(token int32, log float64) hypothesis {
	h.tokens = append(h.tokens[:len(h.tokens):len(h.tokens)], token)
	h.logs = append(h.logs[:len(h.logs):len(h.logs)], log)
	h.log += log
	return h
}

// search decodes a clip that was encoded: the free text greedily and, beside it in the
// same passes, the best texts of a language by beam search over the model's own
// log-likelihoods. A text of the language ends only where the language lets it.
type search struct {
	e      *Engine
	follow *follower // nil: no language
	prefix int       // tokens before the text
	limit  int       // tokens of a text, at most

	free     hypothesis
	freeDone bool
	freeEnd  float64 // log-probability of the end of the free text
	active   []hypothesis
	whole    []hypothesis // with the end's log-probability
	best     float64      // log-likelihood of the best whole text
	noSpeech float64
	begin    begin
}

// Texts of the decoder: two sets of beams, and besides
const (
	freeText  = 2*beams + 1
	beginText = 2*beams + 2 // what stands before every text
	textsUsed = 2*beams + 3
)

// prefixTokens are what stands before the text: the prompt, the start, and no times.
// sot is the start token's place.
func (e *Engine) prefixTokens(prompt string) (tokens []int32, sot int, err error) {
	c := e.ctx
	if prompt = strings.TrimSpace(prompt); prompt != "" {
		buf := make([]lib.Token, 4*len(prompt)+8)
		n, err := c.Whisper_tokenize(" "+strings.ReplaceAll(prompt, "\x00", " "), buf)
		if err != nil {
			return nil, 0, fmt.Errorf("whisper: prompt: %w", err)
		}
		ids := buf[:n]
		if most := c.Whisper_n_text_ctx()/2 - 1; len(ids) > most {
			ids = ids[len(ids)-most:]
		}
		tokens = append(tokens, int32(c.Whisper_token_prev()))
		for _, id := range ids {
			tokens = append(tokens, int32(id))
		}
	}
	sot = len(tokens)
	tokens = append(tokens, int32(c.Whisper_token_sot()))
	if c.Whisper_is_multilingual() != 0 {
		tokens = append(tokens, int32(c.Whisper_token_lang(c.Whisper_lang_id("en"))), int32(c.Whisper_token_transcribe()))
	}
	return append(tokens, int32(c.Whisper_token_not())), sot, nil
}

// decode runs the search. Callers hold mutex and have encoded the clip.
func (s *search) decode(ctx context.Context, prompt string) error {
	c := s.e.ctx
	tokens, sot, err := s.e.prefixTokens(prompt)
	if err != nil {
		return err
	}
	rows := make([]row, len(tokens))
	for i, t := range tokens {
		rows[i] = row{t, int32(i), 0}
	}
	s.prefix = len(tokens)
	if err := rowsDecode(c, rows, len(tokens)-sot, s.e.threads); err != nil {
		return err
	}
	at, norm := scores(c, sot)
	s.noSpeech = math.Exp(float64(at[noSpeechToken(c)]) - norm)
	at, norm = scores(c, len(tokens)-1)
	s.begin = begin{append([]float32(nil), at...), norm, len(tokens)}
	rowsCopy(c, 0, beginText)
	s.free = hypothesis{text: 0}
	s.stepFree(at, norm)
	s.free.text = freeText
	rowsCopy(c, 0, freeText)
	if s.follow != nil {
		s.active = []hypothesis{{state: s.follow.language.Start(), text: 0}}
		s.expand(0, []scored{{at, norm}})
	}
	for step := 1; step < s.limit && (!s.freeDone || len(s.active) > 0); step++ {
		if ctx.Err() != nil {
			return context.Cause(ctx)
		}
		if err := s.step(step); err != nil {
			return err
		}
		if !s.freeDone && s.loops() {
			return nil // what is found beside a loop is not taken
		}
	}
	return nil
}

// loops reports whether the free text ends in a loop.
func (s *search) loops() bool {
	ids := make([]lib.Token, len(s.free.tokens))
	for i, id := range s.free.tokens {
		ids[i] = lib.Token(id)
	}
	return loops(ids)
}

type scored struct {
	at   []float32
	norm float64
}

// step scores the last token of every text under way and chooses the next ones.
func (s *search) step(step int) error {
	c := s.e.ctx
	var rows []row
	pos := int32(s.prefix + step - 1)
	for _, h := range s.active {
		rows = append(rows, row{h.tokens[len(h.tokens)-1], pos, h.text})
	}
	if !s.freeDone {
		rows = append(rows, row{s.free.tokens[len(s.free.tokens)-1], pos, s.free.text})
	}
	if err := rowsDecode(c, rows, 0, s.e.threads); err != nil {
		return err
	}
	list := make([]scored, len(s.active))
	for i := range s.active {
		list[i].at, list[i].norm = scores(c, i)
	}
	if !s.freeDone {
		at, norm := scores(c, len(rows)-1)
		s.stepFree(at, norm)
	}
	s.expand(step, list)
	return nil
}

// stepFree adds the likeliest token to the free text.
func (s *search) stepFree(at []float32, norm float64) {
	eot := int(s.e.ctx.Whisper_token_eot())
	best := -1
	for id, blank := range s.e.vocab.blank {
		if blank || len(s.free.tokens) == 0 && s.e.vocab.text[id] == " " {
			continue
		}
		if best < 0 || at[id] > at[best] {
			best = id
		}
	}
	if len(s.free.tokens) > 0 && at[eot] >= at[best] {
		s.freeDone, s.freeEnd = true, float64(at[eot])-norm
		return
	}
	s.free = s.free.with(int32(best), float64(at[best])-norm)
}

// step by one token of a text of the language.
type continuation struct {
	parent int
	arc    arc
	log    float64 // of the token
	total  float64 // of the text with it
}

// expand replaces the texts under way by their best continuations.
func (s *search) expand(step int, list []scored) {
	eot := s.e.ctx.Whisper_token_eot()
	for i, h := range s.active {
		if step > 0 && s.follow.language.Whole(h.state) {
			done := h
			done.log += float64(list[i].at[eot]) - list[i].norm
			s.whole = append(s.whole, done)
			s.best = max(s.best, done.log)
		}
	}
	low := max(s.best-late, s.free.log-hopeless)
	var next []continuation
	for i, h := range s.active {
		for _, a := range s.follow.after(h.state) {
			log := float64(list[i].at[a.token]) - list[i].norm
			if total := h.log + log; total >= low && s.follow.vocab.natural(h.tokens, a.token) {
				low = max(low, total-behind)
				next = append(next, continuation{i, a, log, total})
			}
		}
	}
	sort.SliceStable(next, func(i, j int) bool { return next[i].total > next[j].total })
	base := int32(1)
	if step%2 == 1 {
		base += beams
	}
	chosen := s.choose(next, low, base)
	for _, h := range s.active {
		rowsDrop(s.e.ctx, h.text)
	}
	s.active = chosen
}

// choose takes the best of the continuations, which come best first: one of those that
// differ in capitals and marks only, and few that begin alike, so that what sounds odd at
// first is still there when the rest of the clip speaks for it.
func (s *search) choose(next []continuation, low float64, base int32) []hypothesis {
	var chosen []hypothesis
	twins, begin := map[string]bool{}, map[string]int{}
	for _, n := range next {
		if len(chosen) == beams || n.total < low {
			break
		}
		parent := s.active[n.parent]
		h := parent.with(n.arc.token, n.log)
		if repeats(h.tokens) {
			continue
		}
		h.state = n.arc.state
		text := strings.ToLower(s.textOf(h))
		twin := fmt.Sprint(h.state, strings.TrimRight(text, ".,;:!?"))
		word := firstWord(text)
		if twins[twin] || begin[word] == alike {
			continue
		}
		twins[twin] = true
		begin[word]++
		h.text = base + int32(len(chosen))
		rowsCopy(s.e.ctx, parent.text, h.text)
		chosen = append(chosen, h)
	}
	return chosen
}

// firstWord is the first word of a text; all numbers are one.
func firstWord(text string) string {
	word, _, _ := strings.Cut(text, " ")
	if word != "" && word[0] >= '0' && word[0] <= '9' {
		return "0"
	}
	return word
}

// repeats reports whether a text says its last words twice, as the model does when it
// has heard all there is; people don't.
func repeats(tokens []int32) bool {
	for size := 3; 2*size <= len(tokens); size++ {
		if slices.Equal(tokens[len(tokens)-size:], tokens[len(tokens)-2*size:len(tokens)-size]) {
			return true
		}
	}
	return false
}

// natural reports whether token, after the others, keeps to usual capitals: none inside
// a word, unless the whole word is in them. The language itself knows no case.
func (v *vocabulary) natural(tokens []int32, token int32) bool {
	t := v.text[token]
	if t[0] == ' ' || len(tokens) == 0 {
		return v.shape[token] != mixed
	}
	before := v.text[tokens[len(tokens)-1]]
	last := before[len(before)-1]
	switch {
	case !isLetter(last) || !isLetter(t[0]):
		return v.shape[token] != mixed
	case last >= 'a':
		return v.shape[token] == small
	}
	return v.shape[token] == small && len(strings.TrimSpace(before)) == 1 || v.shape[token] == capitals
}

func isLetter(c byte) bool { return c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' }

// shape is how a token uses capitals.
type shape uint8

const (
	small    shape = iota // none
	first                 // on its first letter only
	capitals              // all
	mixed
)

func shapeOf(s string) shape {
	upper, lower, lead := 0, 0, false
	for i, c := range strings.TrimSpace(s) {
		switch {
		case c >= 'A' && c <= 'Z':
			upper++
			lead = lead || i == 0
		case c >= 'a' && c <= 'z':
			lower++
		}
	}
	switch {
	case upper == 0:
		return small
	case lower == 0:
		return capitals
	case lead && upper == 1:
		return first
	}
	return mixed
}

// text is a hypothesis in letters.
func (s *search) textOf(h hypothesis) string {
	var b strings.Builder
	for _, t := range h.tokens {
		b.WriteString(s.e.vocab.text[t])
	}
	return strings.TrimSpace(b.String())
}

// fit gives the whole texts, best first. Those that differ only in capitals and
// punctuation are one, as likely as all of them together.
func (s *search) fit() []audio.Hypothesis {
	sort.SliceStable(s.whole, func(i, j int) bool { return s.whole[i].log > s.whole[j].log })
	var out []audio.Hypothesis
	at := map[string]int{}
	for _, h := range s.whole {
		text := s.textOf(h)
		k := plain(text)
		if i, ok := at[k]; ok {
			out[i].LogLikelihood += math.Log1p(math.Exp(h.log - out[i].LogLikelihood))
			continue
		}
		at[k] = len(out)
		out = append(out, audio.Hypothesis{Text: text, LogLikelihood: h.log})
	}
	sort.SliceStable(out, func(i, j int) bool { return out[i].LogLikelihood > out[j].LogLikelihood })
	return out[:min(len(out), fitKept)]
}

// plain is text without capitals and without the marks after words.
func plain(text string) string {
	fields := strings.Fields(strings.ToLower(text))
	for i, f := range fields {
		fields[i] = strings.TrimRight(f, ".,;:!?")
	}
	return strings.Join(fields, " ")
}

// search encodes a clip and decodes it into t.
func (e *Engine) search(ctx context.Context, samples []float32, h audio.Hints, size int, t *audio.Transcript) (looped bool, err error) {
	defer func() {
		if messages := e.drain(); err != nil && messages != "" {
			err = errors.Join(err, errors.New(lastLine(messages)))
		}
	}()
	s := &search{e: e, best: math.Inf(-1), limit: tokensOnTop + tokenRate*len(samples)/audio.Rate}
	if h.Language != nil {
		s.follow = e.follower(h.Language)
	}
	if err := e.encode(samples, size); err != nil {
		return false, err
	}
	if ctx.Err() != nil {
		return false, context.Cause(ctx)
	}
	if err := s.decode(ctx, h.Prompt); err != nil {
		return false, err
	}
	e.begun = begun{key: keyOf(samples, size, h.Prompt), begin: s.begin}
	tokens := make([]token, len(s.free.tokens))
	for i, id := range s.free.tokens {
		tokens[i] = token{e.vocab.text[id], s.free.logs[i]}
	}
	*t = audio.Transcript{Words: words(tokens), LogLikelihood: s.free.log + s.freeEnd, NoSpeech: s.noSpeech, Fit: s.fit()}
	t.Text = join(t.Words)
	return !s.freeDone || s.loops(), nil
}
