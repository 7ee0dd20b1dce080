package feature_test

import (
	"math"
	"math/rand/v2"

	"hvproof/internal/capture"
	"hvproof/internal/quantity"
)

// A circuit is a pack that pre-charges a link, as a simulation by midpoint
// steps sees it. Times in s after the command.
type circuit struct {
	vp, r, c, bleed float64
	start           float64                    // V on the link before
	load            func(v, t float64) float64 // A
	closeAt         float64                    // 0: the main contactor never closes
	openAt          float64                    // pre-charge relay opens, 0: never
	bounces         []float64                  // toggles after closeAt
	loop            float64                    // Ω, with the main contactor closed
	from, to, dt    float64
	noise           float64
	full            float64 // V of the converter's range; 0: no converter
	bits            int
	sag             float64 // V that the pack gives way by at full pre-charge current
	branch          float64 // part of the capacitance behind a further resistor of 3·r
	seed            uint64
}

func (k circuit) closed(t float64) bool {
	if k.closeAt == 0 || t < k.closeAt {
		return false
	}
	state := true
	for _, b := range k.bounces {
		if t >= b {
			state = !state
		}
	}
	return state
}

// run gives times, link and pack before noise.
func (k circuit) run() (link, pack []float64) {
	n := int(math.Round((k.to-k.from)/k.dt)) + 1
	v, slow := k.start, k.start
	if k.loop == 0 {
		k.loop = 0.05
	}
	flow := func(v, slow, t float64) (dv, ds, i float64) {
		switch {
		case k.closed(t):
			i = (k.vp - v) / k.loop
		case t >= 0 && (k.openAt == 0 || t < k.openAt) && k.r > 0:
			i = (k.vp - v) / k.r
		}
		out := i
		if k.bleed > 0 {
			out -= v / k.bleed
		}
		if k.load != nil {
			out -= k.load(v, t)
		}
		c := k.c * (1 - k.branch)
		if k.branch > 0 {
			b := (v - slow) / (3 * k.r)
			out -= b
			ds = b / (k.c * k.branch)
		}
		return out / c, ds, i
	}
	for i := range n {
		t := k.from + float64(i)*k.dt
		_, _, amps := flow(v, slow, t)
		link = append(link, v)
		sag := 0.0
		if k.sag > 0 && k.r > 0 {
			sag = k.sag * math.Min(1, amps*k.r/k.vp)
		}
		pack = append(pack, k.vp-sag)
		h := k.dt
		steps := max(1, int(math.Ceil(h/math.Max(2e-7, 0.02*k.loop*k.c))))
		if !k.closed(t) && !k.closed(t+h) {
			steps = max(1, int(math.Ceil(h/(0.01*math.Max(k.r, 1)*k.c))))
		}
		steps = min(steps, 2000)
		h /= float64(steps)
		for s := range steps {
			at := t + float64(s)*h
			dv, ds, _ := flow(v, slow, at)
			dv, ds, _ = flow(v+dv*h/2, slow+ds*h/2, at+h/2)
			v, slow = v+dv*h, slow+ds*h
		}
	}
	return link, pack
}

// wave makes a recording of it.
func (k circuit) wave() *capture.Waveform {
	return k.record(k.run())
}

// record is wave for what run gave.
func (k circuit) record(link, pack []float64) *capture.Waveform {
	r := rand.New(rand.NewPCG(k.seed, 11))
	record := func(v []float64) []float64 {
		out := make([]float64, len(v))
		for i, y := range v {
			y += k.noise * r.NormFloat64()
			if k.bits > 0 {
				q := k.full / float64(int(1)<<k.bits)
				y = q * math.Round(y/q)
			}
			out[i] = y
		}
		return out
	}
	axis := &capture.Axis{Start: k.from, Step: k.dt, N: len(link)}
	return waveform(axis, []string{"link", "pack"}, quantity.Volt, record(link), record(pack))
}

func waveform(axis *capture.Axis, names []string, dim quantity.Dim, values ...[]float64) *capture.Waveform {
	w := &capture.Waveform{}
	for i, v := range values {
		w.Channels = append(w.Channels, capture.Channel{Name: names[i], Dim: dim, Axis: axis, V: v})
	}
	return w
}

func expNeg(x float64) float64 { return math.Exp(-x) }
