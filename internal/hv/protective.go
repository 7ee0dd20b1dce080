package hv

import (
	"fmt"
	"time"
)

// gloveDC holds the highest DC voltage of use by class of insulating glove,
// V: EN 60903:2003. IEC 60903:2014 took the DC tests out of its normative
// part.
var gloveDC = map[string]float64{"00": 750, "0": 1500, "1": 11250}

// GloveFits says why gloves of a class must not be used at a DC voltage, V;
// nil if they may.
func GloveFits(class string, volts float64) error {
	most, ok := gloveDC[class]
	if !ok {
		return fmt.Errorf("%q is no glove class known here; 00, 0 and 1 are", class)
	}
	if !(volts <= most) {
		return fmt.Errorf("gloves of class %s are made for at most %g V DC, not for %g V", class, most, volts)
	}
	return nil
}

// GloveInDate says why gloves tested on one day must not be used on another,
// if a test holds for so many months (6 by 29 CFR 1910.137, 12 by FSAE
// IN.5.1); nil if they may.
func GloveInDate(tested, today time.Time, months int) error {
	until := tested.AddDate(0, months, 0)
	if today.After(until) || today.Before(tested) {
		return fmt.Errorf("the gloves were tested on %s, which holds until %s", tested.Format(time.DateOnly), until.Format(time.DateOnly))
	}
	return nil
}

// FuseBreaks says why a fuse does not break a current, A, by its least and
// its greatest breaking current; nil if it does. Below the least the
// contactor must break it.
func FuseBreaks(current, least, most float64) error {
	switch {
	case !(current >= least):
		return fmt.Errorf("%g A is below the fuse's minimum breaking current of %g A", current, least)
	case !(current <= most):
		return fmt.Errorf("%g A is above the fuse's breaking capacity of %g A", current, most)
	}
	return nil
}
