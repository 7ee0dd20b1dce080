package audit

import (
	"fmt"
	"slices"
	"strings"

	"hvproof/internal/measure"
	"hvproof/internal/plan"
	"hvproof/internal/quantity"
)

// counts reports whether a reading is held against the bound.
func counts(b plan.Bound) bool { return b.Governs || b.Kind == quantity.Expected }

// bounds compares the limits and windows of one step.
func (c *comparison) bounds(then, now *plan.Step) {
	for _, was := range then.Bounds {
		if !counts(was) {
			continue
		}
		i := sameBound(was, now.Bounds)
		if i < 0 {
			if was.Rules == "" || slices.Contains(ruleSets(c.today), was.Rules) {
				c.remark("bound-gone", "%s: %s is no longer asked for", then.Path, limit(was))
			}
			continue
		}
		is := now.Bounds[i]
		c.bound(then.Path, was, is)
		if was.Governs && !is.Governs && !slices.ContainsFunc(now.Bounds, func(b plan.Bound) bool { return b.Governs && !easier(was.Bound, b.Bound) }) {
			c.remark("looser-bound", "%s: %s no longer governs, and nothing as strict does", then.Path, limit(was))
		}
	}
}

// sameBound gives the index of the bound that stands in the place of was: of
// the same kind if there is one, else of another; a limit never takes the
// place of a window. -1 if there is none.
func sameBound(was plan.Bound, list []plan.Bound) int {
	same := func(b plan.Bound) bool { return b.ID == was.ID && b.Rules == was.Rules }
	if i := slices.IndexFunc(list, func(b plan.Bound) bool { return same(b) && b.Kind == was.Kind }); i >= 0 {
		return i
	}
	return slices.IndexFunc(list, func(b plan.Bound) bool {
		return same(b) && b.Kind != quantity.Expected && was.Kind != quantity.Expected
	})
}

// bound compares one limit or window with what it was.
func (c *comparison) bound(path string, was, is plan.Bound) {
	if easier(was.Bound, is.Bound) {
		code := "looser-bound"
		if was.Kind == quantity.Expected {
			code = "wider-window"
		}
		c.remark(code, "%s: %s is %s now%s", path, limit(was), is.Bound, because(was, is))
	}
	if was.Formula != is.Formula {
		c.remark("formula-changed", "%s: %s was computed as %s, and is as %s", path, was.ID, was.Formula, is.Formula)
	}
	if was.Rule == measure.GuardBand && is.Rule != measure.GuardBand {
		c.remark("guard-band-off", "%s: %s was decided by %s, and is by %s: the meter's uncertainty is no longer allowed for", path, was.ID, was.Rule, is.Rule)
	}
	if was.Method != "" && was.Method != is.Method {
		c.remark("looser-method", "%s: %s asked for the %s method, and asks for %s", path, was.ID, was.Method, orNothing(is.Method))
	}
	if looserRange(was.TestRange, is.TestRange) {
		c.remark("looser-method", "%s: %s asks for a weaker test voltage or current, or allows a higher test current", path, was.ID)
	}
}

// limit names a bound with its value.
func limit(b plan.Bound) string {
	if b.Rules == "" {
		return fmt.Sprintf("%s (%s)", b.ID, b.Bound)
	}
	return fmt.Sprintf("%s of %s (%s)", b.ID, b.Rules, b.Bound)
}

// easier reports whether a value may meet is and not was: the bound moved the
// easy way. Another kind or quantity is taken for easier, since it cannot be
// seen to be as strict.
func easier(was, is quantity.Bound) bool {
	if was.Kind != is.Kind || was.Dim != is.Dim {
		return true
	}
	switch was.Kind {
	case quantity.AtLeast:
		return is.Low < was.Low
	case quantity.AtMost, quantity.MagnitudeAtMost:
		return is.High > was.High
	}
	return is.Low < was.Low || is.High > was.High
}

// because names the inputs that moved a bound.
func because(was, is plan.Bound) string {
	var moved []string
	for _, in := range was.Inputs {
		i := slices.IndexFunc(is.Inputs, func(b plan.Input) bool { return b.Name == in.Name })
		if i >= 0 && is.Inputs[i] != in {
			moved = append(moved, fmt.Sprintf("%s was %s and is %s", in.Name, extent(in), extent(is.Inputs[i])))
		}
	}
	if len(moved) == 0 {
		return ""
	}
	return ", since " + strings.Join(moved, ", ")
}

// looserRange reports whether a meter may put less through the part, or more
// than was allowed.
func looserRange(was, is plan.TestRange) bool {
	return is.MinTestVoltage < was.MinTestVoltage || is.MinTestCurrent < was.MinTestCurrent ||
		was.MaxTestCurrent > 0 && (is.MaxTestCurrent == 0 || is.MaxTestCurrent > was.MaxTestCurrent)
}

// ruleSets gives the rule sets that a plan's bounds come from.
func ruleSets(p *plan.Plan) []string {
	var out []string
	for i := range p.Steps {
		for _, b := range p.Steps[i].Bounds {
			if b.Rules != "" && !slices.Contains(out, b.Rules) {
				out = append(out, b.Rules)
			}
		}
	}
	return out
}

// ruleSets names the rule sets of which nothing is left.
func (c *comparison) ruleSets() {
	for _, gone := range without(ruleSets(c.then), ruleSets(c.today)) {
		var limits []string
		for i := range c.then.Steps {
			for _, b := range c.then.Steps[i].Bounds {
				if b.Rules == gone && !slices.Contains(limits, b.ID) {
					limits = append(limits, b.ID)
				}
			}
		}
		c.remark("rule-set-dropped", "no limit of %s is asked for any more; it had %s", gone, strings.Join(limits, ", "))
	}
}

// ends gives the finite ends of a step's limits and windows, where an
// uncertainty matters.
func ends(s *plan.Step) []float64 {
	var out []float64
	for _, b := range s.Bounds {
		for _, x := range []float64{b.Low, b.High} {
			if x != 0 {
				out = append(out, x)
			}
		}
	}
	return out
}

// extent prints an input: one value, or the range of its tolerance.
func extent(in plan.Input) string {
	lo := quantity.Value{SI: in.Lo, Dim: in.Dim}.String()
	if in.Lo == in.Hi {
		return lo
	}
	return lo + " to " + quantity.Value{SI: in.Hi, Dim: in.Dim}.String()
}

func volts(x float64) string { return quantity.Value{SI: x, Dim: quantity.Volt}.String() }

func seconds(x float64) string { return quantity.Value{SI: x, Dim: quantity.Second}.String() }
