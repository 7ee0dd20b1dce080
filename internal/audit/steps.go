package audit

import (
	"fmt"
	"slices"
	"strings"

	"hvproof/internal/plan"
)

// steps compares the steps that applied at the baseline with those of now.
func (c *comparison) steps() {
	c.deleted()
	for i := range c.then.Steps {
		then := &c.then.Steps[i]
		now := c.applicable(then.Path)
		if then.NotApplicable != "" || now == nil {
			continue
		}
		if then.Kind != now.Kind || then.Dim != now.Dim || then.Function != now.Function {
			c.remark("step-changed", "%s was %s, and is %s", then.Path, kindOf(then), kindOf(now))
		}
		c.softened(then, now)
		if then.Witness && !now.Witness {
			c.remark("witness-removed", "%s no longer needs a witness", then.Path)
		}
		for _, s := range then.State {
			if !slices.Contains(now.State, s) {
				c.remark("state-dropped", "%s no longer asks that %s is %s", then.Path, s.Name, s.Value)
			}
		}
		for _, gone := range without(ids(then.Cautions), ids(now.Cautions)) {
			c.remark("precaution-dropped", "%s no longer has the caution %q", then.Path, gone)
		}
		c.bounds(then, now)
	}
}

// applicable gives the step of today with the path if it is to be done.
func (c *comparison) applicable(path string) *plan.Step {
	i, ok := c.today.Step(path)
	if !ok || c.today.Steps[i].NotApplicable != "" {
		return nil
	}
	return &c.today.Steps[i]
}

func kindOf(s *plan.Step) string {
	switch s.Kind {
	case plan.Measure, plan.Time:
		return s.Kind + " in " + s.Dim.String()
	case plan.Compute:
		return fmt.Sprintf("compute %s in %s", s.Function, s.Dim)
	}
	return s.Kind
}

// deleted names the steps that are gone, and items all of whose steps are.
func (c *comparison) deleted() {
	all, gone := map[string]int{}, map[string]int{}
	var items []string
	for i := range c.then.Steps {
		s := &c.then.Steps[i]
		if s.NotApplicable != "" {
			continue
		}
		item, _, inItem := strings.Cut(s.Path, ".")
		if inItem {
			all[item]++
		}
		if c.applicable(s.Path) != nil {
			continue
		}
		if inItem && gone[item] == 0 {
			items = append(items, item)
		}
		gone[item]++
	}
	for _, item := range items {
		if gone[item] == all[item] {
			c.remark("items-deleted", "%s is gone, with %s", item, count(all[item], "step"))
		}
	}
	for i := range c.then.Steps {
		s := &c.then.Steps[i]
		item, _, inItem := strings.Cut(s.Path, ".")
		if s.NotApplicable != "" || c.applicable(s.Path) != nil || (inItem && gone[item] == all[item]) {
			continue
		}
		if j, ok := c.today.Step(s.Path); ok {
			c.remark("step-deleted", "%s no longer applies because %s", s.Path, c.today.Steps[j].NotApplicable)
		} else {
			c.remark("step-deleted", "%s (%s) is gone", s.Path, s.Kind)
		}
	}
}

func count(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return fmt.Sprintf("%d %ss", n, noun)
}

// severity orders what a failed step does, the softest first.
var severity = []string{plan.Note, plan.Stop, plan.MakeSafeStop}

// softened compares what makes a step fail, and what failing does.
func (c *comparison) softened(then, now *plan.Step) {
	soft := func(what string, was, is any) {
		c.remark("softened-step", "%s: %s was %v and is %v", then.Path, what, was, is)
	}
	if slices.Index(severity, now.IfFailed) < slices.Index(severity, then.IfFailed) {
		soft("if_failed", then.IfFailed, now.IfFailed)
	}
	if !then.ConditionalPass && now.ConditionalPass {
		c.remark("softened-step", "%s: a conditional pass is accepted now", then.Path)
	}
	if then.UnfitMeter == plan.RefuseMeter && now.UnfitMeter == plan.MarkMeter {
		soft("unfit_meter", then.UnfitMeter, now.UnfitMeter)
	}
	if then.Expect != "" && then.Expect != now.Expect {
		soft("expect", then.Expect, orNothing(now.Expect))
	}
	if now.Seconds < then.Seconds {
		soft("the wait", seconds(then.Seconds), seconds(now.Seconds))
	}
	if then.LeadCheck != "" && now.LeadCheck != then.LeadCheck {
		soft("lead_check", then.LeadCheck, orNothing(now.LeadCheck))
	}
	if then.Hold != "" && now.Hold != then.Hold {
		soft("released_by", then.Hold, orNothing(now.Hold))
	}
	if then.Method != now.Method && then.Method != "" {
		c.remark("looser-method", "%s was to be read by the %s method, and is by %s", then.Path, then.Method, orNothing(now.Method))
	}
	if looserRange(then.TestRange, now.TestRange) {
		c.remark("looser-method", "%s: the meter's test voltage or current may be weaker, or its test current higher", then.Path)
	}
}
