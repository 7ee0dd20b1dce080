package hv

import "math"

// Two methods measure two things: the two-voltage method the weaker pole to
// chassis, a tester that joins the poles both in parallel. One can be had
// from the other only if the split between the poles is known.

// Split is the resistance of the weaker pole divided by that of the other,
// above 0 and at most 1.
type Split float64

func (s Split) check() error {
	if !(s > 0 && s <= 1) {
		return &Contradiction{SplitUnknown, "the split between the poles is not known, so that one method's value cannot be turned into the other's",
			"measure with the method that the limit asks for"}
	}
	return nil
}

// BothFromWeaker gives both poles in parallel from the weaker one, Ω.
func BothFromWeaker(weaker Estimate, s Split) (Estimate, error) {
	return scale(weaker, s, 1/(1+float64(s)))
}

// WeakerFromBoth gives the weaker pole from both in parallel, Ω.
func WeakerFromBoth(both Estimate, s Split) (Estimate, error) {
	return scale(both, s, 1+float64(s))
}

func scale(e Estimate, s Split, factor float64) (Estimate, error) {
	if err := s.check(); err != nil {
		return Estimate{}, err
	}
	return Estimate{X: e.X * factor, U: e.U * factor, Side: e.Side}, nil
}

// Poles is one part's resistance to chassis by pole, Ω.
type Poles struct{ Positive, Negative float64 }

// A WholePrediction is what the parts of a car let one expect of the whole,
// Ω, without uncertainty: good to compare with, not to decide by.
type WholePrediction struct {
	Both                      float64 // both poles in parallel
	WeakerLow, WeakerHigh     float64 // weaker pole, for any split of the joined parts
	WeakerEven                float64 // weaker pole, the joined parts split evenly
	PositiveLow, PositiveHigh float64
	NegativeLow, NegativeHigh float64
}

// PredictWhole puts parts in parallel: some known by pole, some only with
// their poles joined.
func PredictWhole(known []Poles, joined []float64) WholePrediction {
	gp, gn, g := 0.0, 0.0, 0.0
	for _, k := range known {
		gp += 1 / k.Positive
		gn += 1 / k.Negative
	}
	for _, r := range joined {
		g += 1 / r
	}
	// The weaker pole has the larger conductance. All of g on it is the worst
	// case; the best case levels the two poles as far as g reaches.
	best := math.Max(math.Max(gp, gn), (gp+gn+g)/2)
	return WholePrediction{
		Both:         1 / (gp + gn + g),
		WeakerLow:    1 / (math.Max(gp, gn) + g),
		WeakerHigh:   1 / best,
		WeakerEven:   1 / (math.Max(gp, gn) + g/2),
		PositiveLow:  1 / (gp + g),
		PositiveHigh: 1 / gp,
		NegativeLow:  1 / (gn + g),
		NegativeHigh: 1 / gn,
	}
}
