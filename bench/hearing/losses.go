package main

import (
	"fmt"
	"io"

	"callout/intents/hearing"
)

// losses counts where the right meaning of clips that carry values is lost.
type losses map[[2]string]*loss

type loss struct{ n, unfound, behind, asked, ignored int }

func (l losses) add(c clip, ok bool, e hearing.Evidence, o outcome) {
	if c.Kind != "reading" {
		return
	}
	x := example{}
	if ok {
		x = exampleOf(c, e)
	}
	for _, family := range []string{c.Family, "all"} {
		key := [2]string{family, c.Level}
		if l[key] == nil {
			l[key] = &loss{}
		}
		k := l[key]
		k.n++
		k.unfound += bit(!x.found)
		k.behind += bit(x.found && !x.right)
		k.asked += bit(x.right && o == asked)
		k.ignored += bit(x.right && o == ignored)
	}
}

const lossHead = `
Where the right reading is lost: not among those found / among them, but not the best / best, but asked / best, but ignored, %

| system | voices | clean | 10 dB | 5 dB | 0 dB |
|---|---|---|---|---|---|
`

func (l losses) write(w io.Writer, name string) {
	for _, f := range families {
		row := ""
		for _, level := range levels {
			k := l[[2]string{f.id, level}]
			if k == nil {
				k = &loss{}
			}
			row += fmt.Sprintf(" %.0f / %.0f / %.0f / %.0f |", share(k.unfound, k.n), share(k.behind, k.n), share(k.asked, k.n), share(k.ignored, k.n))
		}
		fmt.Fprintf(w, "| callout, %s | %s |%s\n", name, f.name, row)
	}
}
