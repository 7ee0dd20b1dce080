package audit

import (
	"fmt"
	"slices"
	"strings"

	"hvproof/internal/plan"
	"hvproof/internal/run"
)

// A comparison is one run held against its baseline.
type comparison struct {
	audit       *Audit
	base, now   *run.Machine
	then, today *plan.Plan
}

// compare remarks on every way in which a run asked for less than its
// baseline, and on every other input.
func (a *Audit) compare(base, now *run.Machine) {
	c := &comparison{a, base, now, alike(base.Plan(), now.Plan()), now.Plan()}
	c.whole()
	c.proofs()
	c.steps()
	c.ruleSets()
	c.inputs()
	c.compareMeters()
}

// alike cuts the baseline's plan down as a retest was: what a retest leaves out
// was not deleted. Within the items that it walks, everything is compared.
func alike(base, now *plan.Plan) *plan.Plan {
	if len(now.Retest) == 0 {
		return base
	}
	var items []string
	for _, item := range base.ItemList() {
		if slices.Contains(now.Retest, item) {
			items = append(items, item)
		}
	}
	cut, err := base.Restrict(items)
	if err != nil {
		return base // cannot be: the items are the plan's own
	}
	return cut
}

func (c *comparison) remark(code, format string, args ...any) {
	c.audit.remark(c.now.Index(), code, "%s against run %s: %s", named(c.now), c.base.ID(), fmt.Sprintf(format, args...))
}

// whole compares what the plan asks for as a whole.
func (c *comparison) whole() {
	then, now := c.then, c.today
	if now.People < then.People {
		c.remark("fewer-people", "%d people were needed, and %d are now", then.People, now.People)
	}
	for _, gone := range without(then.Prerequisites, now.Prerequisites) {
		c.remark("prerequisite-dropped", "%s is no longer a prerequisite", gone)
	}
	for _, p := range []struct {
		what      string
		then, now []string
	}{
		{"caution", ids(then.Cautions), ids(now.Cautions)},
		{"protective equipment", ids(then.Protective), ids(now.Protective)},
		{"make-safe action", then.MakeSafe, now.MakeSafe},
	} {
		for _, gone := range without(p.then, p.now) {
			c.remark("precaution-dropped", "the %s %q is no longer there", p.what, gone)
		}
	}
	if then.Ambient && !now.Ambient {
		c.remark("precaution-dropped", "temperature and humidity are no longer asked for")
	}
	if then.Live && !now.Live {
		c.remark("precaution-dropped", "the procedure is no longer said to be live")
	}
}

func ids(texts []plan.Text) []string {
	var out []string
	for _, t := range texts {
		out = append(out, t.ID)
	}
	return out
}

// without gives what is in then and not in now.
func without(then, now []string) []string {
	var out []string
	for _, x := range then {
		if !slices.Contains(now, x) {
			out = append(out, x)
		}
	}
	return out
}

// proofs compares what a passed run establishes, and for how long.
func (c *comparison) proofs() {
	for _, then := range c.then.Proves {
		i := slices.IndexFunc(c.today.Proves, func(p plan.Proof) bool { return p.ID == then.ID })
		if i < 0 {
			c.remark("proof-narrowed", "%s is no longer proved", then.ID)
			continue
		}
		now := c.today.Proves[i]
		if gone := without(then.Parts, now.Parts); len(gone) > 0 {
			c.remark("proof-narrowed", "%s is no longer about %s", then.ID, strings.Join(gone, ", "))
		}
		if then.HoldsDays > 0 && (now.HoldsDays == 0 || now.HoldsDays > then.HoldsDays) {
			c.remark("holds-longer", "%s held for %s, and holds for %s now", then.ID, days(then.HoldsDays), days(now.HoldsDays))
		}
	}
}

func days(n int) string {
	if n == 0 {
		return "ever until work on a part"
	}
	return fmt.Sprintf("%d days", n)
}

// inputs compares the values of the car that limits rest on.
func (c *comparison) inputs() {
	if c.then.CarVoltage != c.today.CarVoltage {
		c.remark("input-changed", "the car's highest voltage was %s and is %s", volts(c.then.CarVoltage), volts(c.today.CarVoltage))
	}
	now := inputsOf(c.today)
	for _, then := range inputsOf(c.then) {
		i := slices.IndexFunc(now, func(in plan.Input) bool { return in.Name == then.Name })
		if i < 0 || now[i] == then {
			continue
		}
		code := "input-changed"
		if in := now[i]; in.Dim == then.Dim && in.Lo <= then.Lo && in.Hi >= then.Hi {
			code = "wider-tolerance"
		}
		c.remark(code, "%s was %s and is %s", then.Name, extent(then), extent(now[i]))
	}
}

// inputsOf gives every value of the car that a plan rests on, each once.
func inputsOf(p *plan.Plan) []plan.Input {
	var out []plan.Input
	seen := map[string]bool{}
	add := func(list []plan.Input) {
		for _, in := range list {
			if !seen[in.Name] {
				seen[in.Name] = true
				out = append(out, in)
			}
		}
	}
	for i := range p.Steps {
		for _, b := range p.Steps[i].Bounds {
			add(b.Inputs)
		}
		for _, a := range p.Steps[i].From {
			add(a.Inputs)
		}
	}
	return out
}
