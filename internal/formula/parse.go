package formula

import (
	"fmt"
	"strings"
)

// Bounds on a formula's text.
const (
	MaxBytes = 2000 // longest formula
	MaxDepth = 64   // deepest nesting
)

// parser walks over the tokens by recursive descent; one function for each
// rule of grammar.txt.
type parser struct {
	src    string
	tokens []token
	pos    int
	depth  int
}

// parse reads a whole formula.
func parse(src string) (*tree, *fault) {
	if len(src) > MaxBytes {
		return nil, &fault{0, 0, fmt.Sprintf("formula of %d bytes; the longest is %d", len(src), MaxBytes), "name a part of it as a value of its own"}
	}
	tokens, f := scan(src)
	if f != nil {
		return nil, f
	}
	if tokens[0].kind == tokenEnd {
		return nil, &fault{0, 0, "empty formula", ""}
	}
	p := &parser{src: src, tokens: tokens}
	t, f := p.condition()
	if f != nil {
		return nil, f
	}
	if p.peek().kind != tokenEnd {
		return nil, p.unexpected("an operator")
	}
	return t, nil
}

func (p *parser) peek() token { return p.tokens[p.pos] }

// take consumes the next token if it is one of the operators given.
func (p *parser) take(ops ...string) (token, bool) {
	t := p.peek()
	if t.kind == tokenOperator {
		for _, op := range ops {
			if t.text == op {
				p.pos++
				return t, true
			}
		}
	}
	return t, false
}

// unexpected is the fault of the next token where want should stand.
func (p *parser) unexpected(want string) *fault {
	t := p.peek()
	if t.kind == tokenEnd {
		return &fault{t.from, t.from, "formula ends where " + want + " should follow", ""}
	}
	hint := ""
	if t.kind == tokenName {
		switch strings.ToLower(t.text) {
		case "and":
			hint = "and is written &&"
		case "or":
			hint = "or is written ||"
		case "not":
			hint = "not is written !"
		}
	}
	return &fault{t.from, t.to, fmt.Sprintf("expected %s, found %q", want, t.text), hint}
}

// deeper counts one level of nesting; the caller must call p.shallower.
func (p *parser) deeper() *fault {
	if p.depth++; p.depth > MaxDepth {
		t := p.peek()
		return &fault{t.from, t.to, fmt.Sprintf("nested deeper than %d", MaxDepth), ""}
	}
	return nil
}

func (p *parser) shallower() { p.depth-- }

func (p *parser) condition() (*tree, *fault) {
	defer p.shallower()
	if f := p.deeper(); f != nil {
		return nil, f
	}
	test, f := p.chain(0)
	if f != nil {
		return nil, f
	}
	mark, ok := p.take("?")
	if !ok {
		return test, nil
	}
	yes, f := p.condition()
	if f != nil {
		return nil, f
	}
	if _, ok := p.take(":"); !ok {
		return nil, p.unexpected(`":"`)
	}
	no, f := p.condition()
	if f != nil {
		return nil, f
	}
	return &tree{shape: shapeCond, text: "?", from: test.from, to: no.to, at: mark.from, past: mark.to, args: []*tree{test, yes, no}}, nil
}

// levels are the binary operators, loosest first.
var levels = [...][]string{
	{"||"}, {"&&"}, {"<", "<=", ">", ">=", "==", "!="}, {"+", "-"}, {"*", "/"},
}

// chain parses the binary operators of one level and of those that bind
// tighter.
func (p *parser) chain(level int) (*tree, *fault) {
	if level == len(levels) {
		return p.unary()
	}
	left, f := p.chain(level + 1)
	for f == nil {
		op, ok := p.take(levels[level]...)
		if !ok {
			return left, nil
		}
		var right *tree
		if right, f = p.chain(level + 1); f != nil {
			break
		}
		left = &tree{shape: shapeBinary, text: op.text, from: left.from, to: right.to, at: op.from, past: op.to, args: []*tree{left, right}}
		if again, ok := p.take(levels[2]...); ok && level == 2 {
			return nil, &fault{again.from, again.to, "comparisons cannot be chained", "write a < b && b < c"}
		} else if ok {
			p.pos--
		}
	}
	return nil, f
}

func (p *parser) unary() (*tree, *fault) {
	op, ok := p.take("-", "!")
	if !ok {
		return p.primary()
	}
	defer p.shallower()
	if f := p.deeper(); f != nil {
		return nil, f
	}
	if t := p.peek(); op.text == "-" && t.kind == tokenLiteral && t.celsius && t.from == op.to {
		return p.below(op, t)
	}
	arg, f := p.unary()
	if f != nil {
		return nil, f
	}
	return &tree{shape: shapeUnary, text: op.text, from: op.from, to: arg.to, at: op.from, past: op.to, args: []*tree{arg}}, nil
}

// below is a temperature below 0 °C: the sign belongs to the number, since
// minus a point on the scale means nothing.
func (p *parser) below(sign, t token) (*tree, *fault) {
	p.pos++
	number := numberEnd(p.src, t.from)
	signed, f := parseLiteral(p.src, sign.from, number, number+strings.IndexFunc(p.src[number:], notSpace), t.to)
	if f != nil {
		return nil, f
	}
	return &tree{shape: shapeLiteral, text: signed.text, from: sign.from, to: t.to, at: sign.from, past: t.to, value: signed.value, celsius: true}, nil
}

func notSpace(c rune) bool { return c != ' ' }
