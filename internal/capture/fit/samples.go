package fit

import (
	"errors"
	"math"
	"slices"
	"sort"
)

// The reasons why nothing can be told.
var (
	// ErrFew: fewer than eight known samples.
	ErrFew = errors.New("too few samples")
	// ErrFlat: the signal does not change beyond its noise.
	ErrFlat = errors.New("the signal does not change")
	// ErrFast: the change is over within three samples.
	ErrFast = errors.New("the change is too fast for the sampling")
	// ErrStraight: the signal is still a straight line where the recording
	// ends, so that time constant and end level cannot be separated.
	ErrStraight = errors.New("the signal is a straight line as far as recorded")
)

// Samples is a signal over time. Sample i is at Times[i], or at
// Start + i·Step where Times is nil. Times ascend.
type Samples struct {
	Start, Step float64
	Times       []float64
	Y           []float64
}

// Len is the number of samples, known or not.
func (s Samples) Len() int { return len(s.Y) }

// T gives the time of sample i, s.
func (s Samples) T(i int) float64 {
	if s.Times != nil {
		return s.Times[i]
	}
	return s.Start + float64(i)*s.Step
}

// Slice gives the samples from ≤ i < to, which share memory with s.
func (s Samples) Slice(from, to int) Samples {
	from = max(0, min(from, len(s.Y)))
	to = max(from, min(to, len(s.Y)))
	out := Samples{Start: s.T0(from), Step: s.Step, Y: s.Y[from:to]}
	if s.Times != nil {
		out.Times = s.Times[from:to]
	}
	return out
}

// T0 is T that may be asked one beyond the last sample.
func (s Samples) T0(i int) float64 {
	if s.Times == nil || i < len(s.Times) {
		return s.T(i)
	}
	if len(s.Times) == 0 {
		return s.Start
	}
	return s.Times[len(s.Times)-1]
}

// Index gives the first sample at or after t, Len if there is none.
func (s Samples) Index(t float64) int {
	return sort.Search(len(s.Y), func(i int) bool { return s.T(i) >= t })
}

// Interval is the mean time between samples, 0 below two samples.
func (s Samples) Interval() float64 {
	if len(s.Y) < 2 {
		return 0
	}
	return (s.T(len(s.Y)-1) - s.T(0)) / float64(len(s.Y)-1)
}

// most is the number of samples that estimates of noise and levels look at.
const most = 1 << 17

// known gives at most n known values, evenly chosen.
func (s Samples) known(n int) []float64 {
	stride := max(1, len(s.Y)/n)
	out := make([]float64, 0, min(len(s.Y), n)+1)
	for i := 0; i < len(s.Y); i += stride {
		if !math.IsNaN(s.Y[i]) {
			out = append(out, s.Y[i])
		}
	}
	return out
}

// Quantile gives the value below which the part q of the known samples lies.
func (s Samples) Quantile(q float64) (float64, bool) {
	v := s.known(most)
	if len(v) == 0 {
		return 0, false
	}
	slices.Sort(v)
	return v[int(math.Round(q*float64(len(v)-1)))], true
}

// Median gives the middle of the known samples.
func (s Samples) Median() (float64, bool) { return s.Quantile(0.5) }

// Level gives mean and standard error of a stretch taken as constant. The
// error counts neighbours that go together, and is at least what
// quantisation leaves.
func (s Samples) Level() (mean, se float64, ok bool) {
	n := 0
	for _, y := range s.Y {
		if !math.IsNaN(y) {
			mean += y
			n++
		}
	}
	if n == 0 {
		return 0, 0, false
	}
	mean /= float64(n)
	var rss, cross float64
	last := math.NaN()
	for _, y := range s.Y {
		r := y - mean
		if math.IsNaN(r) {
			continue
		}
		rss += r * r
		if !math.IsNaN(last) {
			cross += r * last
		}
		last = r
	}
	if n < 2 {
		return mean, 0, true
	}
	rho := 0.0
	if rss > 0 {
		rho = cross / rss
	}
	return mean, math.Sqrt(rss/float64(n-1)/float64(n)) * inflation(rho, n), true
}

// Noise estimates the standard deviation of what differs from sample to
// sample: from second differences, which a smooth curve hardly has, by their
// median, which jumps do not move.
func (s Samples) Noise() float64 {
	n := len(s.Y)
	if n < 3 {
		return 0
	}
	stride := max(1, n/most)
	d := make([]float64, 0, n/stride+1)
	for i := 1; i+1 < n; i += stride {
		x := s.Y[i-1] - 2*s.Y[i] + s.Y[i+1]
		if !math.IsNaN(x) {
			d = append(d, math.Abs(x))
		}
	}
	if len(d) == 0 {
		return 0
	}
	slices.Sort(d)
	// 1.4826: median of |x| to standard deviation of a normal distribution;
	// √6: second differences of white noise.
	return 1.4826 * d[len(d)/2] / math.Sqrt(6)
}

// Quantum estimates the step of the converter: the least distance between
// different values, where there are few enough values to be a converter's. 0
// if none shows.
func (s Samples) Quantum() float64 {
	v := s.known(1 << 15)
	slices.Sort(v)
	v = slices.CompactFunc(v, func(a, b float64) bool { return math.Abs(a-b) <= 1e-9*math.Max(math.Abs(a), math.Abs(b)) })
	if len(v) < 3 {
		if len(v) == 2 {
			return v[1] - v[0]
		}
		return 0
	}
	gaps := make([]float64, len(v)-1)
	for i := range gaps {
		gaps[i] = v[i+1] - v[i]
	}
	slices.Sort(gaps)
	least := gaps[len(gaps)/20]
	whole := 0
	for _, g := range gaps {
		if k := g / least; math.Abs(k-math.Round(k)) < 0.2 {
			whole++
		}
	}
	if float64(whole) < 0.9*float64(len(gaps)) {
		return 0
	}
	return least
}

// inflation gives the factor by which a standard error grows when
// neighbours go together with correlation rho; 1 where that may be chance.
func inflation(rho float64, n int) float64 {
	if n < 8 || rho < math.Max(0.1, 4/math.Sqrt(float64(n))) {
		return 1
	}
	rho = math.Min(rho, 0.999)
	return math.Min(math.Sqrt((1+rho)/(1-rho)), math.Sqrt(float64(n)))
}
