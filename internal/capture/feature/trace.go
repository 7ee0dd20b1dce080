package feature

import (
	"math"

	"hvproof/internal/capture"
	"hvproof/internal/capture/fit"
	"hvproof/internal/diag"
	"hvproof/internal/measure"
	"hvproof/internal/quantity"
)

// A trace is a channel in its role, with what is known of its accuracy.
//
// An instrument's accuracy is a half-width for one value. It is made of gain
// and offset, unknown in which parts, so a result that depends on several
// values of one channel is computed for all of it being the one, or the
// other, and the larger effect counts (common practice, no source). What
// bends the scale is covered by the converter's step. A time constant depends
// on neither gain nor offset, a difference not on the offset.
type trace struct {
	role    string
	ch      *capture.Channel
	dim     quantity.Dim
	s       fit.Samples
	quantum float64
	noise   float64 // as scattered, without quantisation

	half  float64            // of the envelope, where the file gives least and greatest values
	rated measure.MeterRange // of the instrument, zero if not known
	clock float64            // relative accuracy of times
}

func (a *analyst) trace(role Role, r Request) (*trace, error) {
	ch := &a.w.Channels[role.Index]
	t := &trace{role: role.Role, ch: ch, dim: ch.Dim}
	if !fits(role.Role, ch.Dim) {
		return nil, diag.Bad("give the role another column, or the column its unit", "column %s is in %s and cannot be %s", ch.Name, ch.Unit, role.Role)
	}
	switch base := baseRole(role.Role); {
	case ch.Dim == quantity.One && (base == RoleLink || base == RolePack):
		t.dim = quantity.Volt
		a.note("Column %s has no unit: taken as volts.", ch.Name)
	case ch.Dim == quantity.One && base == RoleCurrent:
		t.dim = quantity.Ampere
		a.note("Column %s has no unit: taken as amperes.", ch.Name)
	}
	t.s = fit.Samples{Y: ch.V}
	if ch.Axis != nil {
		t.s.Start, t.s.Step, t.s.Times = ch.Axis.Start, ch.Axis.Step, ch.Axis.Times
	}
	if ch.Half != nil {
		t.half, _ = fit.Samples{Step: 1, Y: ch.Half}.Median()
	}
	t.noise, t.quantum = t.s.Noise(), t.s.Quantum()
	for _, name := range []string{"", baseRole(role.Role), role.Role} {
		if in, ok := r.Instruments[name]; ok {
			t.rate(in)
		}
	}
	return t, nil
}

// rate takes the accuracy from the instrument's data: of the function of the
// trace's unit the smallest range that shows all its values. The clock of an
// instrument that has none, such as a clamp, is that of the step's own.
func (t *trace) rate(in measure.Instrument) {
	t.rated = measure.MeterRange{}
	lo, _ := t.s.Quantile(0)
	hi, _ := t.s.Quantile(1)
	top := math.Max(math.Abs(lo), math.Abs(hi))
	for _, f := range in.Functions {
		if f.ByHand || len(f.Ranges) == 0 {
			continue
		}
		switch f.Dim {
		case t.dim:
			t.rated = f.Ranges[len(f.Ranges)-1]
			for _, r := range f.Ranges {
				if r.To >= top {
					t.rated = r
					break
				}
			}
		case quantity.Second:
			// Only the clock: what a cursor's digit adds, samples do not have.
			t.clock = f.Ranges[0].PercentOfReading
		}
	}
}

// rating gives the instrument's half-width for one value, 0 if not known.
func (t *trace) rating(y float64) float64 {
	if t.rated.To == 0 {
		return 0
	}
	return t.rated.U(math.Min(math.Abs(y), t.rated.To))
}

// gain gives the largest relative error of a difference on this trace.
func (t *trace) gain() float64 {
	if t.rated.To == 0 {
		return 0
	}
	return t.rated.U(t.rated.To) / t.rated.To
}

// step gives the half-width that the converter's step, and an envelope,
// leave for a level.
func (t *trace) step() float64 {
	if t.noise >= 0.5*t.quantum {
		return t.half
	}
	return t.half + t.quantum/2
}

// level gives the mean of the samples from ≤ i < to, and its half-width
// without the instrument's accuracy.
func (t *trace) level(from, to int) (y, u float64, ok bool) {
	y, se, ok := t.s.Slice(from, to).Level()
	return y, measure.Combine(2*se, t.step()), ok
}

// at gives the level about the time x: the mean over a hundredth of the
// recording or nine samples to each side, whichever is shorter.
func (t *trace) at(x float64) (y, u float64, ok bool) {
	i := t.s.Index(x)
	n := min(9, max(2, t.s.Len()/100))
	return t.level(i-n, i+n)
}

// limits gives the least and the greatest known value.
func (t *trace) limits() (lo, hi float64) {
	lo, _ = t.s.Quantile(0.002)
	hi, _ = t.s.Quantile(0.998)
	if t.s.Len() < 1000 {
		lo, _ = t.s.Quantile(0)
		hi, _ = t.s.Quantile(1)
	}
	return lo, hi
}

// reversed gives the trace with its sign turned.
func (t *trace) reversed() *trace {
	out := *t
	out.s.Y = make([]float64, len(t.s.Y))
	for i, y := range t.s.Y {
		out.s.Y[i] = -y
	}
	return &out
}

// clippedIn gives the first run of clipped samples that touches from ≤ i < to.
func (t *trace) clippedIn(from, to int) (capture.Span, bool) {
	for _, c := range t.ch.Clipped {
		if c.To > from && c.From < to {
			return c, true
		}
	}
	return capture.Span{}, false
}

func baseRole(role string) string {
	for i := range role {
		if role[i] == '.' {
			return role[:i]
		}
	}
	return role
}
