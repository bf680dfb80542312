package intents

import (
	"fmt"
	"os"
	"strings"
	"testing"

	"callout/catalogue"
)

func TestTalkDebug(t *testing.T) {
	raw, err := os.ReadFile("/tmp/tk/lines.txt")
	if err != nil {
		t.Skip()
	}
	p := newParser(t)
	for _, line := range strings.Split(string(raw), "\n") {
		open, said, ok := strings.Cut(line, "|")
		if !ok {
			continue
		}
		ctx := Context{}
		if w := strings.Fields(open); len(w) == 2 && w[0] == "declare" {
			ctx.Open = &Asked{Declare: []catalogue.DeclarationID{catalogue.DeclarationID(w[1])}}
		} else if len(w) == 2 {
			ctx.Open = &Asked{Quantity: catalogue.QuantityID(w[0]), Place: catalogue.PlaceID(w[1])}
		}
		toks, _ := scan(said, p.lex.alphabet)
		u := &utterance{p: p, text: said, toks: toks, env: p.environment(ctx)}
		out := ""
		DebugCover = func(u *utterance, x island) {
			w := u.text[u.toks[x.start].start:u.toks[x.end-1].end]
			switch {
			case x.left > 0:
				out += fmt.Sprintf(" !%s(%d)", w, x.left)
			case len(x.items) > 0:
				out += fmt.Sprintf(" {%s=%s %.2f}", w, describeAlts(x.items), x.cost)
			default:
				out += " ~" + w
			}
		}
		formal := u.read()
		r := u.talk(ctx)
		DebugCover = nil
		g := ""
		for _, h := range u.guarding {
			g += fmt.Sprintf(" <%s:%s>", p.free.frames[h.frame].guard, said[toks[h.start].start:toks[h.end-1].end])
		}
		t.Logf("%s\n   %s\n   guard %q%s  => %v ; formal %v", line, out, r.guard, g, describeResult(r.Result), describeResult(formal))
	}
}

func describeAlts(l [][]Item) (s string) {
	for _, a := range l {
		s += "[" + describeAll(a) + "]"
	}
	return s
}
