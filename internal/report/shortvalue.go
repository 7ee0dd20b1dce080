package report

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"hvproof/internal/entry"
	"hvproof/internal/measure"
	"hvproof/internal/plan"
	"hvproof/internal/quantity"
	"hvproof/internal/run"
)

// valuesOf are the values of a run, and the meters that took them.
type valuesOf struct {
	*shortForm
	table  Table
	meters []string
}

// values lists every attempt at every value that was measured, and at every
// computed one that has a limit.
func (s *shortForm) values(c *course, steps []int) *valuesOf {
	v := &valuesOf{shortForm: s, table: Table{Head: []string{"step", "value", "limit", "decision", "meter", "entry"}}}
	for _, i := range steps {
		for n := range c.steps[i].Attempts {
			c.valueRow(v, i, n)
		}
	}
	return v
}

// valueRow adds an attempt: of a waveform a row for each number that is wanted.
func (c *course) valueRow(v *valuesOf, i, n int) {
	r := &c.steps[i]
	s, a := r.Step, &r.Attempts[n]
	switch a.Body.Kind {
	case entry.Reading, entry.Capture:
	case entry.Computed:
		if len(s.Limits())+len(s.Windows()) == 0 && enough(s, a) && len(a.Findings) == 0 {
			return
		}
	default:
		return
	}
	which := s.Path
	if all := len(r.Attempts); all > 1 {
		which += fmt.Sprintf(" (%s of %d)", ordinal(n+1), all)
	}
	decision := strings.ToUpper(a.Decision)
	if n == len(r.Attempts)-1 {
		decision = c.verdict(i)
	}
	ids := run.Instruments(a.Body)
	for _, id := range ids {
		v.meters = union(v.meters, c.serial(id))
	}
	row := func(which, said, limits, decision string) {
		if len(a.Findings) > 0 {
			decision += ", FINDING"
		}
		v.table.Rows = append(v.table.Rows, []string{which, said, sentence(limits, "no limit"), decision, sentence(strings.Join(ids, ", "), "-"), fmt.Sprint(a.Index)})
	}
	numbers := s.Found()
	if a.Body.Kind != entry.Capture || len(numbers) == 0 {
		row(which, briefly(s, a), v.bounds(s, ""), decision)
		return
	}
	verdicts := verdictsOn(s, a, decision)
	for _, name := range numbers {
		said := "not found"
		for _, f := range a.Features(s) {
			if f.Name == name {
				said = f.String()
			}
		}
		row(which+" "+name, said, v.bounds(s, name), verdicts[name])
	}
}

// verdictsOn gives the verdict on each number of a waveform as it was recorded:
// by its limits, or failing those by what is expected. Where they do not say why
// the step was decided as it was, each has the step's.
func verdictsOn(s *plan.Step, a *run.Attempt, decision string) map[string]string {
	out := map[string]string{}
	said := false // some verdict is the step's
	for _, windows := range []bool{false, true} {
		decided := maps.Clone(out)
		for _, j := range judged(s, a.Body) {
			if j.bound == nil || (j.bound.Kind == quantity.Expected) != windows || decided[j.bound.Feature] != "" {
				continue
			}
			if word := strings.ToUpper(j.verdict); out[j.bound.Feature] == "" || out[j.bound.Feature] == "PASS" || word == "FAIL" {
				out[j.bound.Feature] = word
				said = said || word == decision
			}
		}
	}
	for _, name := range s.Found() {
		if out[name] == "" || !said {
			out[name] = decision
		}
	}
	return out
}

// bounds gives what a value, or one number of a waveform, is judged by. The
// number behind a limit is that under which its source stands.
func (s *shortForm) bounds(step *plan.Step, feature string) string {
	var out []string
	for i := range step.Bounds {
		b := &step.Bounds[i]
		switch {
		case b.Feature != feature:
		case b.Kind == quantity.Expected:
			out = append(out, b.Bound.String())
		case b.Governs:
			from := limitFrom(step, b)
			s.limits = union(s.limits, from)
			out = append(out, fmt.Sprintf("%s [%d]", b.Bound, slices.Index(s.limits, from)+1))
		}
	}
	return strings.Join(out, "; ")
}

// limitFrom says which rule a limit is, by whom, and how it is decided where
// that is not by guard band.
func limitFrom(s *plan.Step, b *plan.Bound) string {
	out := fmt.Sprintf("%s (%s)", b.ID, b.Rules)
	if b.Rules == "" {
		out = "the procedure's own"
	}
	out += ": " + strings.Join(words(sentence(sentence(b.Source, s.Source), "no source stated"), asks(b)), "; ")
	if b.Rule != measure.GuardBand {
		out += "; decided " + strings.ToUpper(rule(b.Rule.String()))
	}
	return out
}

// limitList says where each limit in the tables comes from.
func (s *shortForm) limitList() Section {
	out := Section{Title: "Where the limits come from"}
	if len(s.limits) == 0 {
		out.Blocks = []Block{Paragraph("No value above has a limit.")}
		return out
	}
	out.Blocks = []Block{Paragraph("By the numbers in square brackets behind the limits above: the rule, in brackets its rule set, and its source. Where nothing else is said, it was decided by guard band."), List{Counted: true, Items: s.limits}}
	return out
}

// serial says which meter it is, and until when it is calibrated.
func (c *course) serial(id string) string {
	for _, in := range c.m.Start().Meters {
		if in.ID == id {
			return fmt.Sprintf("%s, serial %s, %s", id, sentence(in.Serial, "not stated"), calibration(in))
		}
	}
	return id + ", not among the instruments of the run"
}

// union adds what is not there yet.
func union(all []string, more ...string) []string {
	for _, m := range more {
		if !slices.Contains(all, m) {
			all = append(all, m)
		}
	}
	return all
}
