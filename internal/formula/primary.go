package formula

import "fmt"

// primary parses what operators stand between.
func (p *parser) primary() (*tree, *fault) {
	t := p.peek()
	switch {
	case t.kind == tokenLiteral:
		p.pos++
		return &tree{shape: shapeLiteral, text: t.text, from: t.from, to: t.to, at: t.from, past: t.to, value: t.value, celsius: t.celsius}, nil
	case t.kind == tokenName:
		p.pos++
		if _, ok := p.take("("); ok {
			return p.call(t)
		}
		return &tree{shape: shapeName, text: t.text, from: t.from, to: t.to, at: t.from, past: t.to}, nil
	case t.kind == tokenOperator && t.text == "(":
		p.pos++
		inner, f := p.condition()
		if f != nil {
			return nil, f
		}
		last, ok := p.take(")")
		if !ok {
			return nil, p.unclosed(t)
		}
		inner.from, inner.to = t.from, last.to
		return inner, nil
	}
	return nil, p.unexpected("a value")
}

// call parses the arguments of a function whose name and bracket are taken.
func (p *parser) call(function token) (*tree, *fault) {
	bracket := p.tokens[p.pos-1]
	c := &tree{shape: shapeCall, text: function.text, from: function.from, at: function.from, past: function.to}
	if last, ok := p.take(")"); ok {
		c.to = last.to
		return c, nil
	}
	for {
		arg, f := p.condition()
		if f != nil {
			return nil, f
		}
		c.args = append(c.args, arg)
		if _, ok := p.take(","); ok {
			continue
		}
		last, ok := p.take(")")
		if !ok {
			return nil, p.unclosed(bracket)
		}
		c.to = last.to
		return c, nil
	}
}

// unclosed is the fault of a bracket that nothing closes.
func (p *parser) unclosed(bracket token) *fault {
	f := p.unexpected(`")"`)
	if p.peek().kind == tokenEnd {
		return &fault{bracket.from, bracket.to, "this bracket is never closed", ""}
	}
	if f.hint == "" {
		f.hint = fmt.Sprintf("the bracket at character %d of the formula is open", len([]rune(p.src[:bracket.from]))+1)
	}
	return f
}
