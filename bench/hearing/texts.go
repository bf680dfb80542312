package main

import (
	"bufio"
	"embed"
	"fmt"
	"math"
	legacy "math/rand"
	"math/rand/v2"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"callout/intents"
	"callout/joblog"
	"callout/session"
)

//go:embed texts/*.txt texts/*.dict
var textFiles embed.FS

// said is one text and what it means: the keys of keyOf, none for chatter.
type said struct {
	Kind  string   `json:"kind"` // reading, other, chatter or note
	Text  string   `json:"text"`
	Means []string `json:"means"`
	// Or are other meanings that are as right.
	Or [][]string `json:"or,omitempty"`
}

func lines(name string) ([]string, error) {
	f, err := textFiles.Open("texts/" + name)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	var out []string
	s := bufio.NewScanner(f)
	for s.Scan() {
		if line := strings.TrimSpace(s.Text()); line != "" && !strings.HasPrefix(line, "#") {
			out = append(out, line)
		}
	}
	return out, s.Err()
}

var slot = regexp.MustCompile(`\{([\d.]+):([\d.]+):([\d.]+)\}`)

// fill puts spoken numbers into a template of readings.txt.
func fill(line string, r *rand.Rand) (said, error) {
	words, means, ok := strings.Cut(line, "\t")
	if !ok {
		return said{}, fmt.Errorf("texts: %q: want words, a tab and a meaning", line)
	}
	n := 0
	text := slot.ReplaceAllStringFunc(words, func(m string) string {
		var f [3]float64
		for i, s := range slot.FindStringSubmatch(m)[1:] {
			f[i], _ = strconv.ParseFloat(s, 64)
		}
		steps := math.Round((f[1] - f[0]) / f[2])
		v := math.Round((f[0]+f[2]*float64(r.IntN(int(steps)+1)))*1e4) / 1e4
		n++
		means = strings.ReplaceAll(means, "%"+strconv.Itoa(n), strconv.FormatFloat(v, 'f', -1, 64))
		return spoken(v, r)
	})
	return said{Kind: "reading", Text: text, Means: strings.Split(means, " | ")}, nil
}

// spoken picks a way to say v: mostly one of the first ways, as people do, and
// now and then any.
func spoken(v float64, r *rand.Rand) string {
	var ways []string
	for _, w := range intents.SayNumber(v) {
		if !strings.Contains(w, " k") {
			ways = append(ways, w)
		}
	}
	if v >= 100 && v < 1000 && math.Mod(v, 100) >= 10 && r.Float64() < 0.6 {
		for _, w := range ways { // "one eighteen"
			if !strings.Contains(w, "hundred") && strings.Count(w, " ") <= 3 {
				return w
			}
		}
	}
	if r.Float64() < 0.75 {
		return ways[0]
	}
	return ways[r.IntN(len(ways))]
}

// sample makes n texts: readings, callouts without a number, chatter and notes,
// in the shares of a call.
func sample(n int, seed uint64) ([]said, error) {
	r := rand.New(rand.NewPCG(seed, 0x7465787473))
	files := map[string][]string{}
	for _, name := range []string{"readings.txt", "others.txt", "chatter.txt", "notes.txt"} {
		list, err := lines(name)
		if err != nil {
			return nil, err
		}
		r.Shuffle(len(list), func(i, j int) { list[i], list[j] = list[j], list[i] })
		files[name] = list
	}
	count := map[string]int{}
	take := func(name string) string {
		list := files[name]
		count[name]++
		return list[(count[name]-1)%len(list)]
	}
	var out []said
	for i := range n {
		switch {
		case i%8 == 3:
			words, means, _ := strings.Cut(take("others.txt"), "\t")
			out = append(out, said{Kind: "other", Text: words, Means: []string{means}})
		case i%5 == 4:
			out = append(out, said{Kind: "chatter", Text: take("chatter.txt")})
		case i%60 == 7:
			words, _, _ := strings.Cut(take("notes.txt"), "\t")
			out = append(out, said{Kind: "note", Text: words})
		default:
			s, err := fill(take("readings.txt"), r)
			if err != nil {
				return nil, err
			}
			out = append(out, s)
		}
	}
	return out, nil
}

// draw makes n texts of the whole callout language, by its own sampler: phrases that are in
// no template. Those are left out that would be asked about or mean nothing if they were
// heard for certain, as yes and no do with no question open.
func draw(k *session.Knowledge, n int, seed uint64) ([]said, error) {
	r := legacy.New(legacy.NewSource(int64(seed)))
	var out []said
	for len(out) < n {
		x := k.Parser.Sample(r)
		j, err := session.Judge(k, session.Policy{}, session.Utterance{Text: x.Spoken, Certainty: 1})
		if err != nil {
			return nil, err
		}
		means := unique(keysOf(x.Meaning))
		if j.Action != joblog.Recorded || !slices.Equal(means, keysOfJudgement(j)) {
			continue
		}
		kind := "other"
		if len(j.Readings) > 0 {
			kind = "reading"
		}
		out = append(out, said{Kind: kind, Text: x.Spoken, Means: means})
	}
	return out, nil
}
