package intents

import (
	"os"
	"testing"
)

func TestTalkDebug(t *testing.T) {
	said := os.Getenv("SAID")
	if said == "" {
		t.Skip()
	}
	p := newParser(t)
	toks, _ := scan(said, p.lex.alphabet)
	u := &utterance{p: p, text: said, toks: toks, env: p.environment(Context{})}
	DebugCover = func(u *utterance, x island) {
		f := ""
		if x.frame != nil {
			f = x.frame.text
		}
		t.Logf("%d-%d %q cost %.2f left %d frame %.60q items %v %s", x.start, x.end, u.text[u.toks[x.start].start:u.toks[x.end-1].end], x.cost, x.left, f, describeAlts(x.items), x.doubt)
	}
	r := u.talk(Context{})
	for _, h := range u.guarding {
		t.Logf("guard %s %d-%d %s", p.free.frames[h.frame].guard, h.start, h.end, said[toks[h.start].start:toks[h.end-1].end])
	}
	t.Logf("%v guard %q meant %s", describeResult(r.Result), r.guard, describeAll(r.Meant))
	t.Logf("formal %v", describeResult((&utterance{p: p, text: said, toks: toks, env: p.environment(Context{})}).read()))
}

func describeAlts(l [][]Item) (s string) {
	for _, a := range l {
		s += "[" + describeAll(a) + "]"
	}
	return s
}
