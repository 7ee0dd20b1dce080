package run

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"hvproof/internal/capture/feature"
	"hvproof/internal/entry"
	"hvproof/internal/measure"
	"hvproof/internal/plan"
	"hvproof/internal/quantity"
)

// What an eye reads off a screen is good to one division, no better: a time
// that was read so is typed with the time per division, "31.2 ms at 10 ms/div",
// and its uncertainty includes one division.

// ByEye begins an answer to a capture that was read off a screen: each number
// with the division that it was read to.
const ByEye = "by eye:"

// ByHand begins an answer to a capture that was not recorded but timed by a
// stopwatch: "by hand: latency.main_contactor 0.19 s".
const ByHand = "by hand:"

// byEyeHint says how such an answer is written.
const byEyeHint = "attach the file; or read it by eye with the division: " + ByEye + " tau 70 ms at 20 ms/div; step_at_close 10 V at 50 V/div"

// divisions is the most that a screen is wide (common practice: 10 to 20).
const divisions = 20

// Typed is a reading as typed, and the division of the screen that it was
// read off, SI; 0 for a meter that shows digits.
type Typed struct {
	quantity.Reading
	Division float64
}

// ParseTyped reads "362.4 V" or "31.2 ms at 10 ms/div". Errors are
// *quantity.SyntaxError, or name the division.
func ParseTyped(text string, d quantity.Dim) (Typed, error) {
	value, division, ok := cutDivision(text)
	q, err := quantity.ParseReading(value, d)
	if err != nil || !ok {
		return Typed{Reading: q}, err
	}
	div, err := parseDivision(division, d)
	return Typed{q, div}, err
}

// cutDivision parts what was read from the division behind "at".
func cutDivision(text string) (value, division string, ok bool) {
	i := strings.LastIndex(text, " at ")
	if i < 0 {
		return text, "", false
	}
	return strings.TrimSpace(text[:i]), strings.TrimSpace(text[i+4:]), true
}

// parseDivision reads "10 ms/div", or "10 ms".
func parseDivision(text string, d quantity.Dim) (float64, error) {
	v, err := quantity.Parse(strings.TrimSpace(strings.TrimSuffix(strings.TrimSpace(text), "/div")))
	if err != nil || v.Dim != d || !(v.SI > 0) {
		return 0, fmt.Errorf("%q is not a division in %s", text, d)
	}
	return v.SI, nil
}

// withDivision puts a division that was given by itself behind the reading.
func (a Answer) withDivision() string {
	text, division := strings.TrimSpace(a.Text), strings.TrimSpace(a.Division)
	if division == "" {
		return text
	}
	return text + " at " + strings.TrimSpace(strings.TrimSuffix(division, "/div")) + "/div"
}

// OnScreen reports whether a function of an instrument gives times that are
// read off a screen: those of an instrument with the role of a scope.
func OnScreen(in *measure.Instrument, f *measure.Function) bool {
	return in != nil && f != nil && f.Dim == quantity.Second && !f.ByHand && slices.Contains(in.Roles, "scope")
}

// onScreen adds one division to a reading that was taken off a screen.
func onScreen(in *measure.Instrument, f *measure.Function, t Typed, r *measure.Reading) error {
	screen := OnScreen(in, f)
	switch {
	case screen && t.Division == 0:
		return fmt.Errorf("a time read off the screen of %s is good to one division, and the division is missing", in.ID)
	case !screen && t.Division != 0:
		return fmt.Errorf("%s shows digits, not divisions", in.ID)
	case screen:
		r.U = measure.Combine(r.U, t.Division)
	}
	return nil
}

// tooWide asks back where a value is wider than a screen.
func tooWide(name string, x, division float64, d quantity.Dim) string {
	if division == 0 || math.Abs(x) <= divisions*division {
		return ""
	}
	return fmt.Sprintf("%s would be %.0f divisions of %s, and a screen has at most %d: is the division right?",
		name, math.Abs(x)/division, quantity.Value{SI: division, Dim: d}, divisions)
}

// byEye records numbers read off a screen, each to one division, or times taken
// by hand.
func (m *Machine) byEye(p Prompt, a Answer) ([]entry.Body, error) {
	if p.Meter == nil {
		return nil, &Refused{p.Key, "no instrument of this run showed it", "begin the run with a " + p.Step.Role}
	}
	have, err := m.eyed(p.Step, a.Text)
	if err != nil {
		return nil, &Refused{p.Key, err.Error(), byEyeHint}
	}
	j := judgeFeatures(p.Step, have, nil)
	m.unfitMeters(p, a, &j)
	b := m.body(p)
	b.Kind = entry.Reading
	b.Add("attempt", fmt.Sprint(p.Attempt))
	b.Add("text", strings.TrimSpace(a.Text))
	b.Add("instrument", p.Meter.ID)
	j.addTo(&b)
	b.Add("reason", a.Reason)
	return one(b), nil
}

// eyed reads "by eye: tau 70 ms at 20 ms/div; …", or with ±20 ms for the
// division. A number without its division is refused. By hand, it reads what a
// stopwatch shows.
func (m *Machine) eyed(s *plan.Step, text string) ([]Feature, error) {
	meter, f := m.start.Meter(s)
	hand := f != nil && f.ByHand
	rest, ok := cutFold(strings.TrimSpace(text), map[bool]string{false: ByEye, true: ByHand}[hand])
	switch {
	case !ok && hand:
		return nil, fmt.Errorf("%s is a stopwatch: what it shows is typed behind %q", meter.ID, ByHand)
	case !ok:
		return nil, fmt.Errorf("%q is neither a file nor read by eye", text)
	}
	var out []Feature
	for _, part := range strings.Split(rest, ";") {
		name, value, _ := strings.Cut(strings.TrimSpace(part), " ")
		dim, known := feature.Dim(s.Function, name)
		if !known {
			return nil, fmt.Errorf("%q is not a number of a %s capture", name, s.Function)
		}
		if hand {
			r, err := timed(f, strings.TrimSpace(value), dim)
			if err != nil {
				return nil, fmt.Errorf("%s: %w", name, err)
			}
			out = append(out, Feature{name, r})
			continue
		}
		x, division, err := eyedNumber(strings.TrimSpace(value), dim)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", name, err)
		}
		if wide := tooWide(value, x, division, dim); wide != "" && dim != quantity.One {
			return nil, fmt.Errorf("%s: %s", name, wide)
		}
		u := measure.Combine(division, m.accuracy(s, dim, x))
		out = append(out, Feature{name, measure.Reading{Value: x, U: u, Dim: dim, RangeIndex: -1, Text: value}})
	}
	return append(out, atFullCharge(s, out)...), nil
}

// atFullCharge re-scales a time to 60 V that was read with the voltage that the
// link began at and its time constant.
func atFullCharge(s *plan.Step, have []Feature) []Feature {
	get := func(name string) (measure.Reading, bool) {
		i := slices.IndexFunc(have, func(f Feature) bool { return f.Name == name })
		if i < 0 {
			return measure.Reading{}, false
		}
		return have[i].Reading, true
	}
	start, began := get("start_voltage")
	tau, fell := get("tau")
	for _, name := range []string{"time_to_60V", "trip_to_60V"} {
		t, timed := get(name)
		if !timed || !began || !fell {
			continue
		}
		if full, worst, ok := feature.FullCharge(carOf(s), t, start, tau); ok {
			return []Feature{{name + "_full_charge", full}, {name + "_worst", worst}}
		}
	}
	return nil
}

// timed reads what a stopwatch shows.
func timed(f *measure.Function, text string, d quantity.Dim) (measure.Reading, error) {
	q, err := quantity.ParseReading(text, d)
	if err != nil {
		return measure.Reading{}, err
	}
	if d != f.Dim {
		return measure.Reading{}, fmt.Errorf("a stopwatch does not show %s", d)
	}
	r, _, err := f.Read(q, nil)
	return r, err
}

func eyedNumber(text string, d quantity.Dim) (x, division float64, err error) {
	if value, div, ok := cutDivision(text); ok {
		v, err := quantity.Parse(value)
		switch {
		case err != nil:
			return 0, 0, err
		case v.Dim != d:
			return 0, 0, fmt.Errorf("%s is not in %s", value, d)
		}
		if division, err = parseDivision(div, d); err != nil {
			return 0, 0, err
		}
		return v.SI, division, nil
	}
	r, err := quantity.ParseRange(text)
	switch {
	case err != nil:
		return 0, 0, err
	case r.Dim != d:
		return 0, 0, fmt.Errorf("%s is not in %s", text, d)
	case r.Hi == r.Lo:
		return 0, 0, fmt.Errorf("the division is missing")
	}
	return r.Nominal, max(r.Hi-r.Nominal, r.Nominal-r.Lo), nil
}

// accuracy gives the largest half-width that the instruments of a capture
// state for a value.
func (m *Machine) accuracy(s *plan.Step, d quantity.Dim, x float64) float64 {
	worst := 0.0
	for _, in := range m.start.Recorders(s) {
		for _, f := range in.Functions {
			if f.Dim != d || f.ByHand {
				continue
			}
			for _, r := range f.Ranges { // they ascend
				if math.Abs(x) <= r.To {
					worst = max(worst, r.U(x))
					break
				}
			}
		}
	}
	return worst
}

// cutFold cuts a prefix off, in upper or lower case.
func cutFold(text, prefix string) (string, bool) {
	if len(text) < len(prefix) || !strings.EqualFold(text[:len(prefix)], prefix) {
		return text, false
	}
	return text[len(prefix):], true
}
