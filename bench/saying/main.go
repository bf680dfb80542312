// Command saying measures how well callout's own voice is understood beside a
// running outdoor unit: answers are synthesised, mixed with the unit's noise, and
// read back by the recogniser, which stands in for a technician's ear. It prints,
// for each voice, speed and level of noise, the share of answers whose number came
// through, the share of words that did not, and the time to synthesise.
//
// The recogniser is told nothing of what to expect. It is no human ear: the
// numbers rank voices, they do not promise that a person understands.
package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"os/signal"
	"strings"
	"text/tabwriter"
	"time"

	"callout/audio"
	"callout/audio/whisper"
	"callout/catalogue"
	"callout/internal/scene"
	"callout/prompts"
)

func main() {
	model := flag.String("model", os.Getenv("CALLOUT_MODEL"), "ggml weights of the recogniser")
	every := flag.Int("every", 1, "use every n-th answer only")
	voices := flag.String("voices", "espeak-ng:en-us:rate=170 espeak-ng:en-us:rate=140 espeak-ng:en-us+f3:rate=170 espeak-ng:en-us+m3:rate=170 flite:slt flite:kal16", "voices to compare")
	flag.Parse()
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	if err := run(ctx, *model, strings.Fields(*voices), *every); err != nil {
		fmt.Fprintln(os.Stderr, "saying:", err)
		os.Exit(1)
	}
}

// answer is one line that callout says, with the number that must come through.
type answer struct{ text, number string }

// answers are read-backs of many quantities at their first places, worded by the
// book.
func answers() ([]answer, error) {
	c, err := catalogue.Load()
	if err != nil {
		return nil, err
	}
	b, err := prompts.Load(c)
	if err != nil {
		return nil, err
	}
	var list []answer
	for i, q := range c.Quantities {
		if !q.Kind.Numeric() {
			continue
		}
		// Any value in the range will do; it moves with the quantity.
		share := 0.15 + 0.7*float64(i*37%100)/100
		r := catalogue.Reading{Quantity: q.ID, Place: q.Places[0], Value: q.Min + share*(q.Max-q.Min), Unit: q.Unit}
		number := prompts.Number(r.Value, q.Decimals)
		list = append(list, answer{b.Speakable(b.Reading(r) + "."), number})
	}
	return list, nil
}

func run(ctx context.Context, model string, compared []string, every int) error {
	engine, err := whisper.Open(model, whisper.Options{})
	if err != nil {
		return err
	}
	defer engine.Close()
	list, err := answers()
	if err != nil {
		return err
	}
	var voices []scene.Voice
	for _, name := range compared {
		v := scene.Voice(name)
		program, _, _ := strings.Cut(name, ":")
		if _, err := exec.LookPath(program); err != nil {
			fmt.Fprintf(os.Stderr, "saying: %s is not installed, left out\n", program)
			continue
		}
		if v.Reserved() {
			return fmt.Errorf("%s is kept for tests by strangers", v)
		}
		voices = append(voices, v)
	}
	w := tabwriter.NewWriter(os.Stdout, 0, 8, 2, ' ', 0)
	fmt.Fprintln(w, "voice\tnoise\tanswers\tnumber understood\twords lost\tsynthesis, median\tlength, mean")
	for _, v := range voices {
		for _, snr := range []float64{30, 15, 10, 5} {
			row, err := measure(ctx, engine, v, snr, list, every)
			if err != nil {
				return err
			}
			fmt.Fprintf(w, "%s\t%.0f dB below\t%s\n", v, snr, row)
			if err := w.Flush(); err != nil {
				return err
			}
		}
	}
	return nil
}

func measure(ctx context.Context, engine audio.Recogniser, v scene.Voice, snr float64, list []answer, every int) (string, error) {
	n, right, words, lost := 0, 0, 0, 0
	var took []time.Duration
	length := 0
	for i := 0; i < len(list); i += every {
		a := list[i]
		start := time.Now()
		x, err := v.Speak(ctx, a.text)
		if err != nil {
			return "", err
		}
		took = append(took, time.Since(start))
		length += len(x)
		noise := scene.Typical(uint64(1000 + i)).Make(len(x) + audio.Rate/2)
		t, err := engine.Recognise(ctx, audio.Utterance{Samples: scene.Mix(x, noise, snr, 0.5)}, audio.Hints{})
		if err != nil && !errors.Is(err, audio.ErrNoSpeech) {
			return "", err
		}
		n++
		got := plain(t.Text)
		if contains(got, plain(a.number)) {
			right++
		}
		want := plain(a.text)
		words += len(want)
		lost += distance(want, got)
	}
	for i := range took { // insertion sort: there are few
		for k := i; k > 0 && took[k] < took[k-1]; k-- {
			took[k], took[k-1] = took[k-1], took[k]
		}
	}
	return fmt.Sprintf("%d\t%.0f%%\t%.0f%%\t%v\t%.1f s", n, 100*float64(right)/float64(n), 100*float64(lost)/float64(words),
		took[len(took)/2].Round(time.Millisecond), float64(length)/float64(n)/audio.Rate), nil
}

// plain gives the words in lower case without punctuation; a decimal point stays.
func plain(text string) []string {
	text = strings.ReplaceAll(strings.ToLower(text), ",", "")
	return strings.FieldsFunc(text, func(r rune) bool {
		return !(r >= 'a' && r <= 'z' || r >= '0' && r <= '9' || r == '.' || r == '\'')
	})
}

func contains(list, part []string) bool {
	for i := 0; i+len(part) <= len(list); i++ {
		same := true
		for k := range part {
			same = same && strings.Trim(list[i+k], ".") == strings.Trim(part[k], ".")
		}
		if same {
			return true
		}
	}
	return false
}

// distance is the number of words to insert, delete or replace (Levenshtein).
func distance(a, b []string) int {
	row := make([]int, len(b)+1)
	for k := range row {
		row[k] = k
	}
	for i := range a {
		diagonal := row[0]
		row[0] = i + 1
		for k := range b {
			cost := 1
			if strings.Trim(a[i], ".") == strings.Trim(b[k], ".") {
				cost = 0
			}
			diagonal, row[k+1] = row[k+1], min(row[k+1]+1, row[k]+1, diagonal+cost)
		}
	}
	return row[len(b)]
}
