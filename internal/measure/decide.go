package measure

import (
	"fmt"
	"math"

	"hvproof/internal/quantity"
)

// A Rule is a decision rule after ILAC-G8:09/2019. The zero Rule is the
// strict one.
type Rule int

const (
	// GuardBand is the non-binary rule of clause 4.2.3 with w = U: a pass
	// holds for every true value within U of the reading. Right wherever a
	// wrong pass can hurt somebody, and therefore the default.
	GuardBand Rule = iota
	// SimpleAcceptance is clause 4.2.1, w = 0: the reading alone counts, and
	// at the limit every second pass may be wrong. Right only where a rule
	// book says that measurement accuracy is no allowance.
	SimpleAcceptance
)

// String gives the key of the rule in files: "guard_band",
// "simple_acceptance".
func (r Rule) String() string {
	switch r {
	case GuardBand:
		return "guard_band"
	case SimpleAcceptance:
		return "simple_acceptance"
	}
	return "no rule"
}

// ParseRule reads what Rule.String gives.
func ParseRule(text string) (Rule, bool) {
	for _, r := range []Rule{GuardBand, SimpleAcceptance} {
		if r.String() == text {
			return r, true
		}
	}
	return 0, false
}

// A Verdict is the outcome of a decision. The zero Verdict is none.
type Verdict string

// The verdicts, in the words of ILAC-G8, and one for what is open.
const (
	Pass            Verdict = "pass"
	ConditionalPass Verdict = "conditional pass" // meets the bound, but by less than U
	ConditionalFail Verdict = "conditional fail" // misses the bound, but by less than U
	Fail            Verdict = "fail"
	CannotDecide    Verdict = "cannot decide"
)

// rank orders verdicts for a bound with two sides: the higher one stands.
func (v Verdict) rank() int {
	switch v {
	case Pass:
		return 0
	case ConditionalPass:
		return 1
	case CannotDecide:
		return 2
	case ConditionalFail:
		return 3
	}
	return 4
}

func worst(a, b Verdict) Verdict {
	if b.rank() > a.rank() {
		return b
	}
	return a
}

// A Decision is what a reading says about a bound.
type Decision struct {
	Verdict Verdict
	Rule    Rule
	Bound   quantity.Bound
	U       float64 // uncertainty of the reading, SI
	// Margin is how far inside the bound the reading lies, SI, negative
	// outside; U is not taken off. NaN where there is none.
	Margin   float64
	Warnings []Warning
}

// Decide judges a reading against a bound; the package comment has the
// rules.
func Decide(r Reading, b quantity.Bound, rule Rule) Decision {
	d := Decision{Rule: rule, Bound: b, U: r.U, Margin: math.NaN()}
	if w := malformed(r, b, rule); w != nil {
		d.Verdict, d.Warnings = CannotDecide, []Warning{*w}
		return d
	}
	switch {
	case r.OverRange && r.Side == quantity.Exact:
		d.Verdict = decideOverRange(r, b)
		d.warn("over-range", "the meter was over range: the value and its sign are unknown")
		return d
	case neverNegative(r.Dim) && (r.Value+r.U < 0 || r.Value < 0 && r.Side != quantity.Exact):
		d.Verdict = CannotDecide
		d.warn("negative", fmt.Sprintf("%s cannot be negative: are the leads zeroed and the part dead?", r.Dim))
		return d
	}
	if r.Side == quantity.Exact {
		d.Margin = margin(r.Value, b)
	}
	switch b.Kind {
	case quantity.AtLeast:
		d.Verdict = atLeast(r, b.Low, rule)
	case quantity.AtMost:
		d.Verdict = atMost(r, b.High, rule)
	case quantity.Between:
		d.Verdict = worst(atLeast(r, b.Low, rule), atMost(r, b.High, rule))
	case quantity.MagnitudeAtMost:
		d.Verdict = magnitudeAtMost(r, b.High, rule)
	case quantity.Expected:
		d.Verdict = d.window(r, b)
	}
	if d.Verdict == CannotDecide && r.Side != quantity.Exact {
		d.warn("one-sided", "the reading only says "+oneSided(r)+"; the bound is "+b.String())
	}
	return d
}

func (d *Decision) warn(code, sentence string) {
	d.Warnings = append(d.Warnings, Warning{code, sentence})
}

// malformed says why nothing can be decided at all.
func malformed(r Reading, b quantity.Bound, rule Rule) *Warning {
	switch {
	case rule != GuardBand && rule != SimpleAcceptance:
		return &Warning{"no-rule", "there is no such decision rule"}
	case r.Dim != b.Dim:
		return &Warning{"wrong-dimension", fmt.Sprintf("the reading is in %s, the bound in %s", r.Dim, b.Dim)}
	case !finite(r.Value) || !finite(r.U) || r.U < 0:
		return &Warning{"no-number", "the reading or its uncertainty is not a number"}
	case r.Side != quantity.Exact && r.Side != quantity.Above && r.Side != quantity.Below:
		return &Warning{"no-side", "the reading is neither exact nor above or below a value"}
	case b.Kind < quantity.AtLeast || b.Kind > quantity.Expected:
		return &Warning{"no-bound", "there is no such kind of bound"}
	}
	two := b.Kind == quantity.Between || b.Kind == quantity.Expected
	if (two || b.Kind == quantity.AtLeast) && !finite(b.Low) || (two || b.Kind != quantity.AtLeast) && !finite(b.High) {
		return &Warning{"no-bound", "the bound is not a number"}
	}
	if two && b.Low > b.High {
		return &Warning{"empty-bound", "nothing can lie between the two ends of the bound"}
	}
	if b.Kind == quantity.MagnitudeAtMost && b.High < 0 {
		return &Warning{"empty-bound", "no magnitude can be below nought"}
	}
	return nil
}

func finite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }

// atLeast decides x ≥ limit.
func atLeast(r Reading, limit float64, rule Rule) Verdict {
	lo, hi := r.interval()
	if r.Side == quantity.Below {
		switch {
		case hi < limit:
			return Fail
		case r.Value <= limit:
			return doubtful(Fail, ConditionalFail, rule)
		}
		return CannotDecide
	}
	switch {
	case lo >= limit && r.Value >= limit:
		return Pass
	case r.Value >= limit:
		return doubtful(Pass, ConditionalPass, rule)
	case r.Side == quantity.Above:
		return CannotDecide
	case hi >= limit:
		return doubtful(Fail, ConditionalFail, rule)
	}
	return Fail
}

// atMost decides x ≤ limit.
func atMost(r Reading, limit float64, rule Rule) Verdict {
	lo, hi := r.interval()
	if r.Side == quantity.Above {
		switch {
		case lo > limit:
			return Fail
		case r.Value >= limit:
			return doubtful(Fail, ConditionalFail, rule)
		}
		return CannotDecide
	}
	switch {
	case hi <= limit && r.Value <= limit:
		return Pass
	case r.Value <= limit:
		return doubtful(Pass, ConditionalPass, rule)
	case r.Side == quantity.Below:
		return CannotDecide
	case lo <= limit:
		return doubtful(Fail, ConditionalFail, rule)
	}
	return Fail
}

// doubtful chooses between the plain and the conditional verdict where the
// limit lies within U of the reading.
func doubtful(plain, conditional Verdict, rule Rule) Verdict {
	if rule == SimpleAcceptance {
		return plain
	}
	return conditional
}

// magnitudeAtMost decides |x| ≤ limit. Of a one-sided reading only the part
// beyond nought tells anything: below 0.1 V may be -362 V.
func magnitudeAtMost(r Reading, limit float64, rule Rule) Verdict {
	if r.Side == quantity.Exact || neverNegative(r.Dim) {
		if r.Side == quantity.Exact {
			r.Value = math.Abs(r.Value)
		}
		return atMost(r, limit, rule)
	}
	if r.Side == quantity.Below {
		r.Side, r.Value = quantity.Above, -r.Value
	}
	return atMost(r, limit, rule)
}

// decideOverRange decides OL of unknown sign, |x| > Value - U: it is never a
// pass, a fail where an upper bound was asked for or where no value beyond
// can lie within, else open.
func decideOverRange(r Reading, b quantity.Bound) Verdict {
	switch b.Kind {
	case quantity.AtMost, quantity.MagnitudeAtMost:
		return Fail
	case quantity.Between, quantity.Expected:
		if r.Value-r.U > math.Max(math.Abs(b.Low), math.Abs(b.High)) {
			return Fail
		}
	}
	return CannotDecide
}

// window judges an expected window; the rule of decision does not matter.
func (d *Decision) window(r Reading, b quantity.Bound) Verdict {
	lo, hi := r.interval()
	coarse := r.U > math.Max(b.High-b.Low, math.Abs(b.Low+b.High)/2)
	switch {
	case hi < b.Low || lo > b.High:
		return Fail
	case r.Side != quantity.Exact:
		return CannotDecide
	case coarse:
		d.warn("coarse", "the uncertainty of the reading is wider than the window: it shows nothing about it")
		return CannotDecide
	}
	return Pass
}

// margin gives how far inside a bound x lies.
func margin(x float64, b quantity.Bound) float64 {
	switch b.Kind {
	case quantity.AtLeast:
		return x - b.Low
	case quantity.AtMost:
		return b.High - x
	case quantity.MagnitudeAtMost:
		return b.High - math.Abs(x)
	}
	return math.Min(x-b.Low, b.High-x)
}

func oneSided(r Reading) string {
	v := quantity.Value{SI: r.Value, Dim: r.Dim}.String()
	if r.Side == quantity.Above {
		return "above " + v
	}
	return "below " + v
}
