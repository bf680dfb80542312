package intents

import (
	"strconv"

	"callout/catalogue"
	"callout/grammar"
)

func (l *language) anyNumber() grammar.Expr {
	if l.form == Written {
		return l.rule("any_number", grammar.Alt{l.decimal(4, 2), seq(l.digits(3), opt(seq(glue("."), l.digit('0', true))), glue("k"))})
	}
	return l.rule("any_number", grammar.Alt{l.decimal(4, 2), seq(l.decimal(3, 2), lit("k"))})
}

// digits is a whole number in digits, none of them a leading nought.
func (l *language) digits(size int) grammar.Expr {
	e := l.digit('1', false)
	if size == 1 {
		return e
	}
	tail := opt(l.digit('0', true))
	for range size - 2 {
		tail = opt(seq(l.digit('0', true), tail))
	}
	return seq(e, tail)
}

// number is a number of a quantity's usual size.
func (l *language) number(q catalogue.Quantity) grammar.Expr {
	size := len(strconv.Itoa(int(min(q.Max, 9999))))
	decimals := q.Decimals
	name := "number_" + strconv.Itoa(size) + "_" + strconv.Itoa(decimals)
	e := l.rule(name, l.decimal(size, decimals))
	alts := grammar.Alt{e}
	if q.Min < 0 {
		if l.form == Written {
			alts = append(alts, seq(lit("-"), l.gluedNumber()), seq(lit("minus"), e))
		} else {
			alts = append(alts, seq(grammar.Words("minus", "negative"), e))
		}
	}
	if q.Max > 9999 {
		alts = append(alts, l.rule("thousands", l.thousands()))
	}
	if len(alts) == 1 {
		return e
	}
	return alts
}

func (l *language) thousands() grammar.Expr {
	if l.form == Written {
		d := l.digit('0', true)
		group := seq(l.digit('1', false), opt(d), opt(d), glue(","), d, d, d)
		tenths := opt(seq(glue("."), d))
		return grammar.Alt{seq(l.digits(3), tenths, glue("k")), seq(l.digits(3), tenths, lit("k")), group, l.digits(8), seq(l.whole(3), lit("million"))}
	}
	hundreds := seq(grammar.Ref("two_digits"), lit("thousand"), grammar.Ref("hundreds"))
	return grammar.Alt{seq(l.decimal(3, 1), grammar.Words("k", "thousand")), hundreds, seq(l.whole(3), lit("million"))}
}

// digit is one digit from low to 9, a word of its own or glued to the one before.
func (l *language) digit(low byte, glued bool) grammar.Expr {
	var alt grammar.Alt
	for c := low; c <= '9'; c++ {
		alt = append(alt, grammar.Lit{Text: string(rune(c)), Glued: glued})
	}
	return alt
}

// whole is a whole number of at most size digits, size being 1 to 4.
func (l *language) whole(size int) grammar.Expr {
	name := "whole_" + strconv.Itoa(size)
	if l.form == Written {
		return l.rule(name, grammar.Alt{lit("0"), l.digits(size), grammar.Words(smallWords[1:11]...)})
	}
	digit := l.rule("digit", grammar.Words(smallWords[1:10]...))
	two := l.rule("two_digits", grammar.Alt{grammar.Words(smallWords[10:]...), seq(grammar.Words(tensWords[2:]...), opt(digit))})
	alts := grammar.Alt{lit("zero"), digit}
	if size >= 2 {
		alts = append(alts, two, seq(digit, grammar.Alt{digit, lit("zero"), lit("oh")}))
	}
	if size >= 3 {
		rest := l.rule("rest", seq(opt(lit("and")), grammar.Alt{digit, two}))
		hundreds := l.rule("hundreds", seq(grammar.Alt{digit, lit("a")}, lit("hundred"), opt(rest)))
		alts = append(alts, hundreds, seq(digit, two), seq(digit, grammar.Words("oh", "zero"), digit), seq(digit, l.anyDigit(), l.anyDigit()))
		if size >= 4 {
			alts = append(alts, seq(two, lit("hundred"), opt(rest)), seq(digit, lit("thousand"), opt(grammar.Alt{hundreds, rest})),
				seq(lit("a"), lit("thousand"), opt(grammar.Alt{hundreds, rest})), seq(two, grammar.Alt{two, seq(lit("oh"), digit)}),
				seq(digit, l.anyDigit(), l.anyDigit(), l.anyDigit()))
		}
	}
	return l.rule(name, alts)
}

// count is a whole number from 1 to 99.
func (l *language) count() grammar.Expr {
	if l.form == Written {
		return grammar.Alt{l.digits(2), grammar.Words(smallWords[1:11]...)}
	}
	l.whole(2)
	return grammar.Alt{grammar.Ref("digit"), grammar.Ref("two_digits")}
}

func (l *language) anyDigit() grammar.Expr {
	return l.rule("decimal", grammar.Words(append([]string{"zero", "oh"}, smallWords[1:10]...)...))
}

// decimal is a number with at most so many decimals.
func (l *language) decimal(size, decimals int) grammar.Expr {
	whole := l.whole(size)
	if decimals == 0 {
		return whole
	}
	if l.form == Written {
		d := l.digit('0', true)
		after := grammar.Expr(d)
		if decimals > 1 {
			after = seq(d, opt(d))
		}
		return grammar.Alt{whole, seq(l.digits(size), glue("."), after), seq(lit("0"), glue("."), after), seq(lit("."), after)}
	}
	name := "point_" + strconv.Itoa(decimals)
	d := l.anyDigit()
	after := grammar.Expr(d)
	if decimals > 1 {
		l.whole(2)
		after = grammar.Alt{seq(d, opt(d)), grammar.Ref("two_digits")}
	}
	point := l.rule(name, seq(lit("point"), after))
	half := l.rule("half", grammar.Alt{seq(opt(lit("a")), lit("half")), lit("a quarter"), lit("three quarters")})
	return grammar.Alt{seq(whole, opt(grammar.Alt{point, seq(lit("and"), half)})), seq(opt(lit("oh")), point), half}
}
