package intents

import (
	"strings"

	"callout/catalogue"
	"callout/grammar"
)

// Grammar gives the callout language as rules, made from the same tables as the
// parser: what a recogniser may produce. It is narrower than what Parse
// understands, and every sentence of it parses without a word left over.
func (p *Parser) Grammar(f Form) *grammar.Grammar {
	l := &language{p: p, form: f, have: map[string]bool{}}
	l.g = &grammar.Grammar{Start: "sentence"}
	l.sentence()
	return l.g
}

// language builds a grammar rule by rule.
type language struct {
	p    *Parser
	form Form
	g    *grammar.Grammar
	have map[string]bool
	// behind is what may stand behind a number and say what it is of: kept
	// together so that the number is in the network once.
	behind grammar.Alt
}

func (l *language) rule(name string, e grammar.Expr) grammar.Expr {
	if !l.have[name] {
		l.have[name] = true
		l.g.Rules = append(l.g.Rules, grammar.Rule{Name: name, Expr: e})
	}
	return grammar.Ref(name)
}

func lit(s string) grammar.Expr  { return grammar.Lit{Text: s} }
func glue(s string) grammar.Expr { return grammar.Lit{Text: s, Glued: true} }

// phrases is an alternative of everything in the lists that the form can write.
func (l *language) phrases(lists ...[]string) grammar.Expr {
	var out []string
	for _, list := range lists {
		out = append(out, l.p.lex.renderAll(list, l.form)...)
	}
	out = unique(out)
	if len(out) == 0 {
		return nil
	}
	return grammar.Words(out...)
}

func seq(parts ...grammar.Expr) grammar.Expr { return grammar.Seq(parts) }

func opt(e grammar.Expr) grammar.Expr { return grammar.Opt{Of: e} }

func (l *language) sentence() {
	var callouts grammar.Alt
	for i, q := range l.p.cat.Quantities {
		if q.Kind.Numeric() {
			callouts = append(callouts, l.rule("reading_"+string(q.ID), l.reading(i)))
		} else if e := l.observation(i); e != nil {
			callouts = append(callouts, l.rule("seen_"+string(q.ID), e))
		}
	}
	callouts = append(callouts, l.rule("number_first", seq(l.anyNumber(), l.behind)))
	var said []string
	for _, d := range l.p.cat.Declarations {
		said = append(append(said, d.Spoken...), d.Vague...)
	}
	callouts = append(callouts, l.rule("declaration", seq(opt(grammar.Words("the", "i")), l.phrases(said))))
	said = nil
	for _, r := range l.p.cat.Repairs {
		said = append(said, r.Spoken...)
	}
	callouts = append(callouts, l.rule("repair", seq(opt(lit("i")), l.phrases(said))))
	callouts = append(callouts, l.rule("gone", seq(opt(lit("then")), opt(lit("it")), l.phrases([]string{"drops to nothing", "drops out", "drops to zero"}))))
	between := opt(lit("and"))
	lead := opt(grammar.Words("okay", "so", "and"))
	end := grammar.Expr(nil)
	if l.form == Written {
		between = opt(grammar.Alt{seq(glue(","), opt(lit("and"))), lit("and"), glue("."), seq(glue(","), lit("then"))})
		lead = opt(seq(grammar.Words("okay", "so", "and"), opt(glue(","))))
		end = opt(glue("."))
	}
	call := seq(lead, grammar.Many{Of: l.rule("callout", callouts), Between: l.rule("between", between)})
	whole := grammar.Alt{call, l.rule("command", l.commands()), l.rule("answer", l.answers())}
	if end == nil {
		l.rule("sentence", whole)
	} else {
		l.rule("sentence", seq(whole, end))
	}
}

func (l *language) on() grammar.Expr {
	return l.rule("on", seq(opt(grammar.Words("on", "at", "across")), opt(lit("the"))))
}

// reading is every way to say one numeric quantity.
func (l *language) reading(i int) grammar.Expr {
	q := l.p.cat.Quantities[i]
	unit, _ := l.p.cat.Unit(q.Unit)
	names := l.phrases([]string{q.Name}, q.Spoken)
	units := l.units(q)
	number := l.number(q)
	value := grammar.Alt{seq(number, opt(units))}
	if e := l.qualifiers(q, catalogue.OpenLine); e != nil {
		value = append(value, e)
	}
	if e := l.qualifiers(q, catalogue.Nothing); e != nil {
		value = append(value, e)
	}
	valueRef := l.rule("value_"+string(q.ID), value)
	places := l.places(i)
	is := opt(grammar.Words("is", "are", "at"))
	on := l.on()
	subject := grammar.Alt{names}
	value = grammar.Alt{valueRef}
	var alts grammar.Alt
	if places != nil {
		p := l.rule("place_"+string(q.ID), places)
		subject = append(subject, seq(p, opt(lit("the")), names), seq(names, on, p))
		value = append(value, seq(valueRef, grammar.Words("on", "at"), opt(lit("the")), p))
		if l.unitNames(i) {
			subject = append(subject, p)
			l.behind = append(l.behind, seq(units, on, p))
		} else if only := l.p.placeAlone(i); len(only) > 0 {
			if e := l.placePhrases(only); e != nil {
				subject = append(subject, e)
			}
		}
		subject = append(subject, l.loose(i)...)
		if l.p.tab.allows[catalogue.Nothing].has(i) {
			alts = append(alts, seq(lit("no"), names, on, p))
		}
	}
	alts = append(alts, seq(subject, is, value))
	if l.p.tab.pair.has(i) {
		alts = append(alts, l.pair(i, names, number, is, units))
	}
	if q.Kind == catalogue.Rated || !l.sharesUnitName(q, unit) {
		l.behind = append(l.behind, names)
	}
	return alts
}

// pair says both sections of a dual capacitor.
func (l *language) pair(i int, names, number, is, units grammar.Expr) grammar.Expr {
	plus := grammar.Expr(grammar.Words("plus", "and", "by"))
	second := grammar.Expr(seq(plus, number))
	if l.form == Written {
		second = grammar.Alt{second, seq(glue("/"), l.gluedNumber())}
	}
	what := names
	if l.p.tab.rated.has(i) {
		what = grammar.Alt{names, l.phrases(l.p.words.Dual)}
	}
	big := l.placePhrases([]int{l.p.tab.pairPlaces[0]})
	small := l.placePhrases([]int{l.p.tab.pairPlaces[1]})
	comma := opt(lit("and"))
	if l.form == Written {
		comma = opt(grammar.Alt{glue(","), lit("and")})
	}
	return grammar.Alt{seq(what, is, number, second, opt(units)), seq(names, is, big, number, comma, small, number)}
}

func (l *language) gluedNumber() grammar.Expr {
	tenths := seq(glue("."), l.digit('0', true))
	return grammar.Alt{seq(l.digit('1', true), opt(l.digit('0', true)), opt(tenths)), seq(glue("0"), tenths)}
}

func (l *language) sharesUnitName(q catalogue.Quantity, u catalogue.Unit) bool {
	for _, s := range append([]string{q.Name}, q.Spoken...) {
		if s == u.Name || s == u.One {
			return true
		}
	}
	return false
}

// unitNames reports whether the unit and a place are enough to name quantity i.
func (l *language) unitNames(i int) bool {
	q := l.p.cat.Quantities[i]
	if q.Kind != catalogue.Measured {
		return false
	}
	for u := range l.p.cat.Units {
		if l.p.cat.Units[u].ID != q.Unit {
			continue
		}
		measured := l.p.tab.native[u].and(l.p.tab.measured)
		return l.p.tab.unitQuantity[u].has(i) || measured.count() == 1 && measured.has(i)
	}
	return false
}

func (l *language) units(q catalogue.Quantity) grammar.Expr {
	var names []string
	add := func(id catalogue.UnitID) {
		if u, ok := l.p.cat.Unit(id); ok {
			names = append(names, u.Name)
			if u.One != u.Name {
				names = append(names, u.One)
			}
		}
	}
	add(q.Unit)
	for _, a := range q.Also {
		add(a.From)
	}
	if q.Unit == "[degF]" && l.form == Written {
		return l.rule("unit_"+string(q.ID), grammar.Alt{l.phrases(names), glue("°"), glue("°f"), glue("°c")})
	}
	return l.rule("unit_"+string(q.ID), l.phrases(names))
}

func (l *language) qualifiers(q catalogue.Quantity, k catalogue.Qualifier) grammar.Expr {
	var said []string
	for _, a := range q.Qualifiers {
		if a != k {
			continue
		}
		for _, e := range l.p.qualified {
			if e.Qualifier == k && e.Quantity == "" {
				said = append(said, e.Spoken[:min(4, len(e.Spoken))]...)
			}
			if k == catalogue.Nothing {
				said = []string{"nothing", "no reading"}
			}
		}
	}
	return l.phrases(said)
}

// places is every way to name a place of quantity i.
func (l *language) places(i int) grammar.Expr {
	var list []int
	l.p.tab.places[i].each(func(k int) { list = append(list, k) })
	for k := range l.p.cat.Places {
		if m := l.p.tab.meant[i][k]; m.places.count() == 1 && !l.p.tab.places[i].has(k) {
			list = append(list, k)
		}
	}
	return l.placePhrases(list)
}

func (l *language) placePhrases(list []int) grammar.Expr {
	var said []string
	for _, k := range list {
		said = append(said, l.p.placeNames(k)...)
	}
	return l.phrases(said)
}

// placeNames are the ways to say a place; its id where it has no other.
func (p *Parser) placeNames(k int) []string {
	pl := p.cat.Places[k]
	if len(pl.Spoken) > 0 {
		return pl.Spoken
	}
	return []string{idWords(string(pl.ID))}
}

// placeAlone lists the places of quantity i that name it without another word.
func (p *Parser) placeAlone(i int) (list []int) {
	p.tab.places[i].each(func(k int) {
		sl := slots{nPlaces: 1, qualFor: -1, hasNum: true}
		sl.place[0].add(k)
		qs, f := p.byPlace(sl, p.tab.measured)
		if f == fitWell && qs.count() == 1 && qs.has(i) {
			list = append(list, k)
		}
	})
	return list
}

// observation is every way to say one observed quantity.
func (l *language) observation(i int) grammar.Expr {
	q := l.p.cat.Quantities[i]
	var values, alone []string
	for _, v := range q.Values {
		values = append(values, v.Spoken...)
		for _, pl := range q.Places {
			alone = append(alone, v.Alone[pl]...)
		}
	}
	var alts grammar.Alt
	if e := l.phrases(alone); e != nil {
		alts = append(alts, seq(opt(lit("the")), e))
	}
	choice := l.phrases(values)
	if choice == nil {
		return nil
	}
	v := l.rule("choice_"+string(q.ID), choice)
	is := opt(grammar.Words("is", "are"))
	subject := grammar.Alt{l.places(i)}
	if names := l.phrases([]string{q.Name, idWords(string(q.ID))}, q.Spoken); names != nil {
		subject = append(subject, names, seq(l.places(i), names), seq(names, l.places(i)))
	}
	alts = append(alts, seq(opt(lit("the")), subject, is, v))
	return alts
}

func (l *language) commands() grammar.Expr {
	var plain []string
	var alts grammar.Alt
	anyNumber := l.anyNumber()
	for _, c := range l.p.cat.Commands {
		switch c.Argument {
		case "":
			plain = append(plain, c.Spoken...)
		case "number":
			lead := l.phrases(c.Spoken)
			if l.form == Written {
				lead = seq(lead, opt(glue(",")))
			}
			alts = append(alts, seq(lead, anyNumber))
		case "minutes":
			alts = append(alts, seq(l.phrases(c.Spoken), l.rule("minutes", seq(l.count(), grammar.Words("minutes", "minute")))))
		}
	}
	return append(grammar.Alt{l.phrases(plain)}, alts...)
}

// answers are what may be said when something was asked: a number, a choice or
// that the meter shows nothing.
func (l *language) answers() grammar.Expr {
	var units, values []string
	for _, u := range l.p.cat.Units {
		units = append(units, u.Name, u.One)
	}
	for _, q := range l.p.cat.Quantities {
		for _, v := range q.Values {
			values = append(values, v.Spoken...)
		}
	}
	return grammar.Alt{seq(opt(lit("it's")), l.anyNumber(), opt(l.rule("any_unit", l.phrases(units)))),
		l.phrases([]string{"ol", "open", "nothing", "no reading"}), l.phrases(values)}
}

// Vocabulary lists every word of the callout language in the form, each once.
func (p *Parser) Vocabulary(f Form) []string {
	var out []string
	for _, w := range p.Grammar(f).Vocabulary() {
		out = append(out, strings.ToLower(w))
	}
	return unique(out)
}
