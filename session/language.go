package session

import (
	"callout/audio"
	"callout/grammar"
	"callout/intents"
)

// language lets a recogniser walk the callout language.
type language struct{ network *grammar.Network }

// Language compiles the callout language, as a recogniser writes it.
func Language(p *intents.Parser) (audio.Language, error) {
	n, err := p.Grammar(intents.Written).Compile()
	if err != nil {
		return nil, err
	}
	return language{n}, nil
}

func (l language) Start() int { return int(l.network.Start()) }

func (l language) Step(state int, b byte) (int, bool) {
	next, ok := l.network.Step(grammar.State(state), b)
	return int(next), ok
}

func (l language) Whole(state int) bool { return l.network.Final(grammar.State(state)) }
