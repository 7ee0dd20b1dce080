package hv

import (
	"math"
	"slices"
)

// Who must act on a fault current.
const (
	NoFault       = "nobody: the fuse carries it"
	ContactorOnly = "the contactor alone: something must measure the current and command it"
	Either        = "the fuse; the contactor may open it as well"
	FuseOnly      = "the fuse alone: the contactor must not be asked to open it"
	Nobody        = "NOBODY: neither fuse nor contactor breaks it"
)

// A Protection is one fuse and the contactor in series with it, A.
type Protection struct {
	Rating      float64 // of the fuse
	FuseMin     float64 // least current that the fuse breaks
	FuseMax     float64 // its breaking capacity
	Contactor   float64 // greatest current that the contactor opens
	Prospective float64 // greatest fault current
}

// A Band is a range of fault current, A, and who must act in it.
type Band struct {
	From, To float64
	Who      string
}

// Bands divides every current up to the prospective one by who must act. A
// fuse between its rating and its least breaking current protects nothing; a
// contactor breaks what the fuse will not, and withstands what the fuse lets
// through. (EV fuse data sheets: least breaking current 200 % of the rating;
// coordination of fuse and contactor: common practice.)
func (p Protection) Bands() []Band {
	cuts := []float64{0}
	for _, c := range []float64{p.Rating, p.FuseMin, p.FuseMax, p.Contactor} {
		if c > 0 && c < p.Prospective {
			cuts = append(cuts, c)
		}
	}
	cuts = append(cuts, p.Prospective)
	slices.Sort(cuts)
	cuts = slices.Compact(cuts)
	var out []Band
	for i := 1; i < len(cuts); i++ {
		b := Band{cuts[i-1], cuts[i], p.who(cuts[i-1], cuts[i])}
		if n := len(out); n > 0 && out[n-1].Who == b.Who {
			out[n-1].To = b.To
			continue
		}
		out = append(out, b)
	}
	return out
}

func (p Protection) who(from, to float64) string {
	fuse, contactor := from >= p.FuseMin && to <= p.FuseMax, to <= p.Contactor
	switch {
	case to <= p.Rating:
		return NoFault
	case fuse && contactor:
		return Either
	case fuse:
		return FuseOnly
	case contactor:
		return ContactorOnly
	}
	return Nobody
}

// LeakageAt gives the current, A, through a resistance to chassis: 500 Ω/V is
// 2 mA, 100 Ω/V is 10 mA (Ohm's law).
func LeakageAt(volts, ohms float64) float64 {
	if ohms <= 0 {
		return math.Inf(1)
	}
	return volts / ohms
}
