package measure

import (
	"fmt"
	"math"

	"hvproof/internal/quantity"
)

// A Reading is a value with its uncertainty.
type Reading struct {
	Value float64       // SI
	Side  quantity.Side // Above, Below: the true value is beyond Value, but for U
	// OverRange: the meter showed OL. With Side Exact the sign is unknown;
	// then Value is a magnitude that was exceeded, not a value.
	OverRange  bool
	Dim        quantity.Dim
	U          float64 // expanded uncertainty, SI
	RangeIndex int     // index in the function's Ranges; -1 if computed
	Text       string  // as typed
}

// A Warning is something about a reading or a decision that somebody should
// look at.
type Warning struct{ Code, Sentence string }

// Read attaches the uncertainty of the function's range to a reading. The
// range is the smallest that shows the reading, or the one that rangeIndex
// points at. The warnings are worth asking back before the reading is
// recorded. It is an error if the function cannot have shown the reading.
func (f Function) Read(q quantity.Reading, rangeIndex *int) (Reading, []Warning, error) {
	if q.Dim != f.Dim {
		return Reading{}, nil, fmt.Errorf("%s reads %s, not %s", f.Name, f.Dim, q.Dim)
	}
	if err := f.check(); err != nil {
		return Reading{}, nil, err
	}
	if rangeIndex != nil && (*rangeIndex < 0 || *rangeIndex >= len(f.Ranges)) {
		return Reading{}, nil, fmt.Errorf("%s has no range number %d; it has %d", f.Name, *rangeIndex+1, len(f.Ranges))
	}
	if q.OverRange {
		return f.overRange(q, rangeIndex)
	}
	if math.IsNaN(q.SI) || math.IsInf(q.SI, 0) {
		return Reading{}, nil, fmt.Errorf("%q is not a number", q.Text)
	}
	m := math.Abs(q.SI)
	i := f.rangeFor(m)
	if rangeIndex != nil {
		i = *rangeIndex
	}
	if i < 0 {
		return Reading{}, nil, fmt.Errorf("%s cannot show %s: its highest range ends at %s", f.Name, f.text(q.SI), f.text(f.Top()))
	}
	r := f.Ranges[i]
	if m > r.To {
		return Reading{}, nil, fmt.Errorf("%s cannot show %s on the range to %s", f.Name, f.text(q.SI), f.text(r.To))
	}
	out := Reading{Value: q.SI, Side: q.Side, Dim: f.Dim, U: r.U(q.SI), RangeIndex: i, Text: q.Text}
	return out, f.doubts(q, r), nil
}

// overRange reads OL. The range is the one named, else the highest.
func (f Function) overRange(q quantity.Reading, rangeIndex *int) (Reading, []Warning, error) {
	i := f.rangeFor(f.Top())
	if rangeIndex != nil {
		i = *rangeIndex
	}
	r := f.Ranges[i]
	out := Reading{Value: r.To, OverRange: true, Dim: f.Dim, U: r.U(r.To), RangeIndex: i, Text: q.Text}
	switch {
	case neverNegative(f.Dim) && q.Side == quantity.Below:
		return Reading{}, nil, fmt.Errorf("%s cannot be over range on the negative side", f.Dim)
	case neverNegative(f.Dim):
		out.Side = quantity.Above
	case q.Side == quantity.Below:
		out.Side, out.Value = quantity.Below, -r.To
	}
	var w []Warning
	if rangeIndex == nil && len(f.Ranges) > 1 {
		w = append(w, Warning{"range-assumed", fmt.Sprintf("OL is taken as above %s, the top of the highest range: was the meter on that range?", f.text(r.To))})
	}
	return out, w, nil
}

// doubts gives what looks wrong about a reading of a range.
func (f Function) doubts(q quantity.Reading, r MeterRange) []Warning {
	var w []Warning
	if r.Digit > 0 && q.Digit > 0 && q.Digit < r.Digit*(1-1e-9) {
		w = append(w, Warning{"more-digits", fmt.Sprintf("%s has more digits than the meter shows: %s on the range to %s", q.Text, f.text(r.Digit), f.text(r.To))})
	}
	if m := math.Abs(q.SI); m < r.From && q.Side != quantity.Above {
		w = append(w, Warning{"below-specified", fmt.Sprintf("the meter's accuracy is stated from %s up: the value may be anything up to there", f.text(r.From))})
	}
	if q.Side == quantity.Above && !f.isTop(q.SI) {
		w = append(w, Warning{"not-top-of-range", fmt.Sprintf("%s is not the top of any range of this meter", f.text(q.SI))})
	}
	return w
}

func (f Function) isTop(x float64) bool {
	for _, r := range f.Ranges {
		if r.To == x {
			return true
		}
	}
	return false
}

func (f Function) text(x float64) string { return quantity.Value{SI: x, Dim: f.Dim}.String() }

// interval gives the least and the greatest true value that a reading
// allows; infinite where it is one-sided. For OL of unknown sign it is
// everything.
func (r Reading) interval() (lo, hi float64) {
	lo, hi = r.Value-r.U, r.Value+r.U
	switch {
	case r.OverRange && r.Side == quantity.Exact:
		return math.Inf(-1), math.Inf(1)
	case r.Side == quantity.Above:
		hi = math.Inf(1)
	case r.Side == quantity.Below:
		lo = math.Inf(-1)
	}
	return lo, hi
}
