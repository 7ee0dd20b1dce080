package measure

import (
	"fmt"
	"math"
	"strings"
	"unicode"

	"hvproof/internal/quantity"
)

// Check says what is wrong with the data of an instrument: a word that
// cannot be printed on one line, a date or category that is none, a range
// without accuracy or out of order, a number that no instrument has. Nil if
// nothing is.
func (i Instrument) Check() error {
	if i.ID == "" {
		return fmt.Errorf("an instrument has no id")
	}
	for _, text := range append([]string{i.ID, i.Kind, i.Serial}, i.Roles...) {
		if err := checkText(text); err != nil {
			return fmt.Errorf("%s: %w", i.ID, err)
		}
	}
	for _, role := range i.Roles {
		if role == "" {
			return fmt.Errorf("%s: a role has no name", i.ID)
		}
	}
	for _, date := range []string{i.CalibratedOn, i.CalibratedUntil} {
		if date != "" && !validDate(date) {
			return fmt.Errorf("%s: %q is not a date; write 2027-06-30", i.ID, date)
		}
	}
	if i.CalibratedOn != "" && i.CalibratedUntil != "" && i.CalibratedOn > i.CalibratedUntil {
		return fmt.Errorf("%s: calibrated on %s, but only until %s", i.ID, i.CalibratedOn, i.CalibratedUntil)
	}
	if _, ok := categoryRank(i.Category); !ok {
		return fmt.Errorf("%s: %q is not a measurement category; write CAT II, CAT III or CAT IV", i.ID, i.Category)
	}
	if !notNegative(i.MaxVoltage) {
		return fmt.Errorf("%s: the highest voltage cannot be %g V", i.ID, i.MaxVoltage)
	}
	seen := map[string]bool{}
	for _, f := range i.Functions {
		if err := f.check(); err != nil {
			return fmt.Errorf("%s: %w", i.ID, err)
		}
		if seen[f.Name] {
			return fmt.Errorf("%s: two functions are named %s", i.ID, f.Name)
		}
		seen[f.Name] = true
	}
	return nil
}

func (f Function) check() error {
	if f.Name == "" {
		return fmt.Errorf("a function has no name")
	}
	for _, text := range []string{f.Name, f.Method} {
		if err := checkText(text); err != nil {
			return err
		}
	}
	for _, x := range []float64{f.TestVoltage, f.TestCurrent, f.InputResistance} {
		if !notNegative(x) {
			return fmt.Errorf("%s: a test voltage, test current or input resistance cannot be %g", f.Name, x)
		}
	}
	if !f.TestCurrentKnown && f.TestCurrent != 0 {
		return fmt.Errorf("%s: the test current is both given and unknown", f.Name)
	}
	if f.ByHand && f.Dim != quantity.Second {
		return fmt.Errorf("%s: only a time is taken by hand", f.Name)
	}
	if len(f.Ranges) == 0 {
		return fmt.Errorf("%s: it has no ranges", f.Name)
	}
	for n, r := range f.Ranges {
		if err := r.check(); err != nil {
			return fmt.Errorf("%s: range %d: %w", f.Name, n+1, err)
		}
		if n > 0 && r.To <= f.Ranges[n-1].To {
			return fmt.Errorf("%s: range %d does not go higher than the one before", f.Name, n+1)
		}
	}
	return nil
}

func (r MeterRange) check() error {
	for _, x := range []float64{r.From, r.To, r.Digit, r.PercentOfReading, r.Digits, r.PercentOfRange, r.Fixed} {
		if !notNegative(x) {
			return fmt.Errorf("its data cannot be %g", x)
		}
	}
	switch {
	case r.To == 0 || r.From >= r.To:
		return fmt.Errorf("it must end above nought and above where it begins")
	case r.Digit > r.To:
		return fmt.Errorf("its digit is larger than the range")
	case r.PercentOfReading >= 1 || r.PercentOfRange >= 1:
		return fmt.Errorf("an accuracy of 100 %% or more measures nothing")
	case r.Digits > 0 && r.Digit == 0:
		return fmt.Errorf("its accuracy is in digits, but no digit is given")
	case r.PercentOfReading == 0 && r.Digits == 0 && r.PercentOfRange == 0 && r.Fixed == 0:
		return fmt.Errorf("it has no accuracy; nothing can be decided without")
	case math.IsInf(r.U(r.To), 0) || math.IsInf(r.U(0), 0):
		return fmt.Errorf("its accuracy is not a number")
	}
	return nil
}

// notNegative reports whether x is finite, not below nought and not -0,
// which would print as something else than 0.
func notNegative(x float64) bool { return finite(x) && !math.Signbit(x) }

// checkText refuses what would not stand on one line as it is.
func checkText(text string) error {
	if strings.TrimSpace(text) != text {
		return fmt.Errorf("%q begins or ends with a space", text)
	}
	for _, c := range text {
		if c == unicode.ReplacementChar || c != ' ' && !unicode.IsGraphic(c) || unicode.Is(unicode.Zs, c) && c != ' ' {
			return fmt.Errorf("%q holds a character that cannot be printed", text)
		}
	}
	return nil
}
