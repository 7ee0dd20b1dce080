package plan

import (
	"fmt"
	"slices"
	"strings"
)

// Frame is the item of steps that stand in no loop: what every run of the
// procedure does, such as signing in, proving dead and checking leads.
const Frame = ""

// Item gives the innermost turn of a loop that the step belongs to, Frame for
// a step that stands in none. All steps of one item are done together: it is
// the least that can be tested again.
func (s *Step) Item() string {
	if len(s.Items) == 0 {
		return Frame
	}
	return s.Items[len(s.Items)-1]
}

// ItemList gives the items of the plan's applicable steps in file order, each
// once, Frame first if it has steps.
func (p *Plan) ItemList() []string {
	var out []string
	seen := map[string]bool{}
	for i := range p.Steps {
		if item := p.Steps[i].Item(); p.Steps[i].NotApplicable == "" && !seen[item] {
			seen[item] = true
			out = append(out, item)
		}
	}
	if i := slices.Index(out, Frame); i > 0 {
		out = slices.Insert(slices.Delete(out, i, i+1), 0, Frame)
	}
	return out
}

// Restrict gives the plan cut down to the items, for a retest: the steps that
// stand in no loop, the steps of the items, the steps of the turns around
// them, and the steps that computed values rest on. Nothing within an item is
// left out, so that lead checks stay around their measurement. Only Frame, or
// no items, gives what stands in no loop. All items of the plan give the plan
// itself.
//
// The error names an item that the plan does not have.
func (p *Plan) Restrict(items []string) (*Plan, error) {
	all := p.ItemList()
	for _, item := range items {
		if !slices.Contains(all, item) {
			return nil, fmt.Errorf("%s has no item %q", p.Procedure, item)
		}
	}
	items = without(items, []string{Frame})
	if len(without(all, append(items, Frame))) == 0 {
		return p, nil
	}
	keep := p.around(items)
	out := *p
	out.Steps, out.SignOut, out.Retest = nil, 0, items
	if len(items) == 0 {
		out.Retest = []string{frameWord}
	}
	for i := range p.Steps {
		if i == p.SignOut {
			out.SignOut = len(out.Steps)
		}
		if keep[p.Steps[i].Item()] {
			out.Steps = append(out.Steps, p.Steps[i])
		}
	}
	if p.SignOut == len(p.Steps) {
		out.SignOut = len(out.Steps)
	}
	return &out, nil
}

// frameWord stands for Frame in the plan's text, where nothing may be empty.
const frameWord = "-"

// around gives the items that must be kept for the items asked for.
func (p *Plan) around(items []string) map[string]bool {
	keep := map[string]bool{Frame: true}
	for _, item := range items {
		keep[item] = true
	}
	for more := true; more; {
		more = false
		for i := range p.Steps {
			s := &p.Steps[i]
			if !keep[s.Item()] {
				continue
			}
			need := slices.Clone(s.Items)
			for _, a := range s.From {
				if j, ok := p.Step(a.Step); ok {
					need = append(need, p.Steps[j].Item())
				}
			}
			for _, n := range need {
				if !keep[n] {
					keep[n], more = true, true
				}
			}
		}
	}
	return keep
}

func without(all, some []string) []string {
	return slices.DeleteFunc(slices.Clone(all), func(s string) bool { return slices.Contains(some, s) })
}

// checkItems asks that each item is a beginning of the step's path and of the
// items within it.
func (s *Step) checkItems() error {
	before := ""
	for _, item := range s.Items {
		if err := word("item", item); err != nil {
			return err
		}
		if !strings.HasPrefix(s.Path, item+".") || !strings.HasPrefix(item, before) || item == strings.TrimSuffix(before, ".") {
			return fmt.Errorf("item %s is not a turn around it", item)
		}
		before = item + "."
	}
	return nil
}

// checkRetest asks that each turn a plan was cut down to has steps in it.
func (p *Plan) checkRetest() error {
	for i, item := range p.Retest {
		if item == frameWord {
			continue
		}
		if slices.Contains(p.Retest[:i], item) {
			return fmt.Errorf("retest of %s twice", item)
		}
		if !slices.ContainsFunc(p.Steps, func(s Step) bool { return s.Item() == item }) {
			return fmt.Errorf("retest of %q, which has no step", item)
		}
	}
	return nil
}
