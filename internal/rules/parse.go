package rules

import (
	"fmt"
	"strings"

	"hvproof/internal/diag"
	"hvproof/internal/measure"
	"hvproof/internal/quantity"
	"hvproof/internal/yamlfile"
)

// Parse reads a rule set and reports every fault of its shape at once.
// Formulas are checked when a car is known, by NewBook. The set is never
// nil; with a fault in the list it holds the limits without, and is only good
// for checking those.
func Parse(f *yamlfile.File) (*Set, diag.List) {
	var form setForm
	problems := f.Decode(&form)
	s := &Set{ID: form.Rules.Text, Title: form.Title, Edition: form.Edition, file: f, at: form.Rules.At, Rule: measure.GuardBand}
	if form.DecisionRule == "simple_acceptance" {
		s.Rule = measure.SimpleAcceptance
	}
	if v := form.Format; v.Text != "" && v.Text != Format {
		problems.Add(f.At(v, "write format: "+Format, "format %q of a rule set is not known to this program", v.Text))
	}
	if id := form.Rules; id.Text != "" && !setID.MatchString(id.Text) {
		problems.Add(f.At(id, "small letters, digits, - and _, such as un-r100", "%q cannot be the id of a rule set", id.Text))
	}
	for _, key := range form.Limits.Keys() {
		lf, _ := form.Limits.Get(key.Text)
		if !limitID.MatchString(key.Text) {
			problems.Add(f.At(key, "small letters, digits and _, such as isolation_whole", "%q cannot be the id of a limit", key.Text))
		}
		if lf == nil {
			problems.Add(f.At(key, "write at_least: FORMULA and a source", "limit %s says nothing", key.Text))
			continue
		}
		l, bad := lf.limit(f, key)
		problems.Append(bad)
		if !bad.Errors() {
			s.Limits = append(s.Limits, l)
		}
	}
	problems.Sort()
	return s, problems
}

// limit turns the form of a limit into a Limit.
func (lf *limitForm) limit(f *yamlfile.File, key yamlfile.Scalar) (Limit, diag.List) {
	var problems diag.List
	l := Limit{
		ID: key.Text, At: key.At, Method: lf.Method, Stimulus: lf.Stimulus,
		TestVoltageAtLeast: lf.VoltageAtLeast, TestCurrentAtLeast: lf.CurrentAtLeast, TestCurrentAtMost: lf.CurrentAtMost,
		AppliesIf: lf.AppliesIf, Source: strings.TrimSpace(lf.Source), Status: Status(lf.Status), Note: lf.Note,
	}
	if l.Status == "" {
		l.Status = Memory
	}
	given := []string{}
	for _, b := range []struct {
		kind quantity.BoundKind
		node *yamlfile.Node
	}{
		{quantity.AtLeast, lf.AtLeast}, {quantity.AtMost, lf.AtMost}, {quantity.MagnitudeAtMost, lf.MagnitudeAtMost},
		{quantity.Between, lf.Between}, {quantity.Expected, lf.Expected},
	} {
		if b.node == nil {
			continue
		}
		given = append(given, b.kind.String())
		exprs, bad := Formulas(f, b.kind, b.node)
		problems.Append(bad)
		l.Kind, l.Exprs = b.kind, exprs
	}
	if len(given) != 1 {
		what := "no bound"
		if len(given) > 1 {
			what = "several bounds: " + strings.Join(given, ", ")
		}
		problems.Add(f.At(key, "write exactly one of at_least, at_most, magnitude_at_most, between, expected", "limit %s has %s", key.Text, what))
	}
	if lf.Source != "" && l.Source == "" {
		problems.Add(f.At(key, "write the clause that it comes from", "limit %s has an empty source", key.Text))
	}
	return l, problems
}

// Formulas reads what stands under at_least, at_most, magnitude_at_most,
// between or expected: one formula, or for the last two also a list of the
// low and the high one.
func Formulas(f *yamlfile.File, kind quantity.BoundKind, n *yamlfile.Node) ([]yamlfile.Scalar, diag.List) {
	var problems diag.List
	if n.Kind() == yamlfile.ListKind {
		items := n.Items()
		if kind != quantity.Between && kind != quantity.Expected {
			problems.Add(f.At(n.Scalar(), "write one formula", "%s takes one formula", kind))
			return nil, problems
		}
		if len(items) != 2 {
			problems.Add(f.At(n.Scalar(), "write [LOW, HIGH]", "%s takes one formula or two, not %d", kind, len(items)))
			return nil, problems
		}
		var out []yamlfile.Scalar
		for _, it := range items {
			if it.Kind() != yamlfile.TextKind {
				problems.Add(f.At(it.Scalar(), "write a formula", "%s takes formulas", kind))
				return nil, problems
			}
			out = append(out, it.Scalar())
		}
		return out, problems
	}
	sc := n.Scalar()
	if n.Kind() != yamlfile.TextKind || strings.TrimSpace(sc.Text) == "" {
		problems.Add(f.At(sc, fmt.Sprintf("write %s: FORMULA", kind), "%s has no formula", kind))
		return nil, problems
	}
	return []yamlfile.Scalar{sc}, problems
}
