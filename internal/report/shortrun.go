package report

import (
	"fmt"
	"slices"
	"strings"

	"hvproof/internal/entry"
	"hvproof/internal/plan"
	"hvproof/internal/readiness"
	"hvproof/internal/run"
)

// run gives what a proof rests on in one of its runs: who did it by which
// procedure, what stands against it, what was seen, and the values.
// f are the facts before those of the run.
func (s *shortForm) run(p readiness.Proof, id string, f Facts) []Block {
	c := s.course(id)
	if c == nil {
		return []Block{Result{"NOT READ", "The record does not have run " + id + "."}, f}
	}
	var items []string
	for _, i := range p.Items {
		if i.Run == id {
			items = append(items, i.Item)
		}
	}
	steps, others := c.under(items)
	result := c.result()
	look := c.look()
	against, some := look.Blocks[0].(Facts)
	outcome := result.Word + ": " + result.Sentence
	if result.Word == "PASSED" {
		outcome = "PASSED, " + c.count()
		if !some {
			outcome += ", nothing against it"
		}
	}
	f.add("Run", fmt.Sprintf("%s%s, begun %s: %s", id, c.otherLog(), c.began(), outcome))
	if len(items) < len(p.Items) {
		f.add("Of it", "rests on it: "+strings.Join(named(items), ", "))
	}
	f.add("People", c.present())
	which := c.plan.Title
	if c.plan.Procedure != p.Proof {
		which += " (" + c.plan.Procedure + ")"
	}
	f.add("Procedure", fmt.Sprintf("%s%s; %s, plan %.12s", which, live(c.plan), c.procedureFile(), sentence(c.m.Events()[0].Body.Text("plan"), notRecorded)))
	key := id + strings.Join(append([]string{""}, items...), "\x00")
	if under, ok := s.shown[key]; ok {
		f.add("Values", "the same as under "+under+" above: one run proves both")
		return []Block{f}
	}
	s.shown[key] = p.Proof
	f = append(f, against...)
	f.add("Read again", c.whyAgain()...)
	f.add("Ambient", strings.Join(c.air(), "; "))
	if c.plan.Ambient && len(c.air()) == 0 {
		f.add("Ambient", notRecorded+", though the procedure asks for it")
	}
	f.add("Seen and said", c.seen(steps)...)
	v := s.values(c, steps)
	f.add("Meters", strings.Join(v.meters, "; "))
	if others > 0 {
		f.add("Not shown", fmt.Sprintf("%s of it, on which the proof does not rest", plural(others, "step")))
	}
	if len(v.table.Rows) == 0 {
		return []Block{f, Paragraph("No value was measured, and none computed that has a limit.")}
	}
	return []Block{f, v.table}
}

// named gives items by their names.
func named(items []string) []string {
	var out []string
	for _, i := range items {
		out = append(out, itemName(i))
	}
	return out
}

// under gives the steps that items rest on: their own, those around them, and
// those that stand in no loop. others counts the answered steps that are left.
func (c *course) under(items []string) (steps []int, others int) {
	keep := map[string]bool{plan.Frame: true}
	for i := range c.steps {
		if s := c.steps[i].Step; slices.Contains(items, s.Item()) {
			keep[s.Item()] = true
			for _, around := range s.Items {
				keep[around] = true
			}
		}
	}
	for i := range c.steps {
		switch {
		case keep[c.steps[i].Step.Item()]:
			steps = append(steps, i)
		case len(c.steps[i].Attempts) > 0:
			others++
		}
	}
	return steps, others
}

// began says when a run's first entry was made.
func (c *course) began() string {
	if e := c.m.Events(); len(e) > 0 {
		return clock(e[0].Local())
	}
	return notRecorded
}

// whyAgain says why steps were repeated, or were left failed.
func (c *course) whyAgain() []string {
	return c.each(func(r *run.StepResult, i int) string {
		var all []string
		for n := range r.Attempts {
			if why, ok := c.again[r.Attempts[n].Index]; ok {
				all = append(all, because(why))
			}
		}
		if why, ok := c.owed[i]; ok {
			all = append(all, "to be "+because(why))
		}
		if e, ok := c.ended[r.Step.Path]; ok {
			all = append(all, "left failed because: "+sentence(e.Body.Text("reason"), "no reason was given"))
		}
		if len(all) == 0 {
			return ""
		}
		return r.Step.Path + ": " + strings.Join(all, ", then ")
	})
}

// otherLog says of which log a run is, where that is not this one.
func (c *course) otherLog() string {
	if e := c.m.Events(); len(e) > 0 && e[0].Origin != c.Origin {
		return " of the earlier log " + e[0].Origin
	}
	return ""
}

// present says who was there, as which.
func (c *course) present() string {
	start := c.m.Start()
	out := fmt.Sprintf("operator %s, witness %s, releaser %s", c.who(start.Operator), sentence(c.who(start.Witness), "nobody"), sentence(c.who(start.Releaser), "nobody"))
	for _, o := range start.Others {
		id, does, _ := strings.Cut(o, " ")
		out += ", " + strings.TrimSpace(c.who(id)+" "+does)
	}
	return out
}

// procedureFile says by which file of the procedure the run went.
func (c *course) procedureFile() string {
	name := "procedures/" + c.plan.Procedure + ".yaml"
	for _, f := range c.plan.Files {
		if f.Name == name {
			return fmt.Sprintf("file %s, %.12s", f.Origin, f.Digest)
		}
	}
	return "its file is not among those recorded"
}

// seen gathers what was said at the steps about a part, by the word that was
// said, and counts the rest. Whatever was not as wanted stands against the run,
// too.
func (c *course) seen(steps []int) []string {
	type group struct {
		said  string
		where []string
	}
	var groups []*group
	rest := 0
	for _, i := range steps {
		r := &c.steps[i]
		a := r.Last()
		if a == nil || a.Body.Kind == entry.Reading || a.Body.Kind == entry.Computed || a.Body.Kind == entry.Capture {
			continue
		}
		s := r.Step
		if a.Body.Kind != entry.Statement || len(s.Parts) == 0 && s.Item() == plan.Frame {
			if c.isAccepted(i) {
				rest++
				continue
			}
		}
		leaf, where := s.Path, ""
		if item := s.Item(); item != plan.Frame {
			leaf, where = strings.TrimPrefix(s.Path, item+"."), item
		}
		said := fmt.Sprintf("%s %q", leaf, a.Body.Text("text"))
		switch {
		case !c.isAccepted(i):
			said += ", " + c.verdict(i)
		case s.Expect == "":
			said += " (any of the choices is right)"
		default:
			said += ", as wanted"
		}
		n := slices.IndexFunc(groups, func(g *group) bool { return g.said == said })
		if n < 0 {
			n, groups = len(groups), append(groups, &group{said: said})
		}
		groups[n].where = append(groups[n].where, words(where)...)
	}
	var out []string
	for _, g := range groups {
		if n := len(g.where); n > 1 {
			g.said += fmt.Sprintf(", %d times", n)
		}
		out = append(out, strings.TrimSuffix(g.said+": "+families(g.where), ": "))
	}
	counted := plural(rest, "step") + " about no part, as wanted"
	switch n := len(out); {
	case rest == 0:
	case n == 0:
		out = []string{counted}
	default:
		out[n-1] += "; and " + counted
	}
	return out
}
