package main

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"hvproof/internal/carfolder"
	"hvproof/internal/plan"
	"hvproof/internal/readiness"
	"hvproof/internal/run"
)

func newReadyCommand(a *app) *cobra.Command {
	all, rules := false, ""
	cmd := &cobra.Command{
		Use:   "ready",
		Short: "each proof with its state; may power come on",
		Long: `Says first whether power may come on: every required proof holds or does not
apply to this car, and nothing that blocks is open. Then the shortest way to
yes: the least that must be run, in an order in which every prerequisite holds
before it is needed.

A proof holds, is void (what it rests on has changed), lapsed, failed, missing
or not applicable. It says what was tested, in that state, at that time, and
nothing about anybody's competence.

EXIT STATUS
  0 power may come on, 1 it may not, 2 a file is wrong`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return a.ready(cmd.Context(), all, rules) },
	}
	cmd.Flags().StringVar(&rules, "rules", "", "as another rule set would have it: the same readings judged again")
	cmd.Flags().BoolVar(&all, "all", false, "every proof on a line of its own, with its reason")
	return cmd
}

type readyDocument struct {
	MayEnergise bool              `json:"may_energise"`
	Permit      *permitDocument   `json:"permit,omitempty"` // in force
	Practice    bool              `json:"practice"`
	Proofs      []proofDocument   `json:"proofs"`
	OpenItems   []itemDocument    `json:"open_items"`
	Reasons     []string          `json:"reasons"`
	Retest      []retestDocument  `json:"retest"`
	Baseline    *baselineDocument `json:"baseline,omitempty"` // that readings are compared with
	Falling     []string          `json:"falling"`            // readings that pass and fall towards their limit
	Outliers    []string          `json:"outliers"`           // readings that pass, far from their siblings
	baseline    string
	Minutes     int      `json:"minutes"`           // an estimate
	Rules       string   `json:"rules,omitempty"`   // of --rules
	Unasked     []string `json:"unasked,omitempty"` // limits of it that no step is judged by
}

type proofDocument struct {
	ID        string   `json:"id"`
	State     string   `json:"state"`
	Stage     string   `json:"stage,omitempty"`
	Procedure string   `json:"procedure,omitempty"`
	Required  bool     `json:"required"`
	Parts     []string `json:"parts"`
	Reason    string   `json:"reason,omitempty"`
	Run       string   `json:"run,omitempty"`
	Until     string   `json:"until,omitempty"`
	Owed      []string `json:"owed,omitempty"` // items to be tested again; "" is what stands in no loop
}

// ready answers whether power may come on. A folder without a log has no
// proofs; that is an answer, not an error.
func (a *app) ready(ctx context.Context, all bool, rules string) error {
	s, err := a.read(ctx)
	if err != nil {
		return err
	}
	defer s.close()
	folder, err := s.load()
	if err != nil {
		return err
	}
	reqs := folder.Requirements(s.practice)
	proofs, err := s.proofs(reqs)
	if err != nil {
		return err
	}
	if rules != "" {
		under, err := folder.Under(rules)
		if err != nil {
			return err
		}
		proofs = readiness.Under(s.facts(), proofs, under)
	}
	reasons := s.unready(folder, proofs)
	doc := s.readyJSON(proofs, reasons)
	if doc.Rules = rules; rules != "" {
		doc.Unasked = folder.Unasked(rules, reqs)
	}
	if a.json {
		err = a.document(doc)
	} else {
		s.printReady(doc, all)
	}
	if err == nil && !doc.MayEnergise {
		return errNo
	}
	return err
}

func (s *session) readyJSON(proofs []readiness.Proof, reasons []string) readyDocument {
	doc := readyDocument{MayEnergise: len(reasons) == 0, Practice: s.practice, Proofs: []proofDocument{}, OpenItems: []itemDocument{}, Reasons: reasons,
		Retest: []retestDocument{}, Falling: []string{}, Outliers: []string{}, baseline: s.baselineLine()}
	if b := s.record.Baseline(); b != nil {
		base := s.baselineJSON(b)
		doc.Baseline = &base
	}
	trends := readiness.Trends(s.facts())
	for _, o := range readiness.Outliers(trends) {
		doc.Outliers = append(doc.Outliers, o.Sentence())
	}
	for _, t := range trends {
		if f, ok := t.Falls(); ok {
			doc.Falling = append(doc.Falling, f.Sentence())
		}
	}
	for _, i := range readiness.OpenItems(s.facts()) {
		doc.OpenItems = append(doc.OpenItems, itemJSON(i))
	}
	for _, n := range readiness.Nonconformances(s.facts()) {
		if n.Open != "" {
			doc.OpenItems = append(doc.OpenItems, nonconformanceJSON(n))
		}
	}
	if g := s.record.InForce(s.now()); g != nil {
		p := s.grantJSON(g)
		doc.Permit = &p
	}
	steps, _ := readiness.RetestPlan(proofs)
	for _, r := range steps {
		doc.Retest = append(doc.Retest, retestJSON(r))
		doc.Minutes += r.Minutes
	}
	for _, p := range proofs {
		doc.Proofs = append(doc.Proofs, proofJSON(p))
	}
	return doc
}

// unready gives every reason why power may not come on.
func (s *session) unready(folder *carfolder.Folder, proofs []readiness.Proof) []string {
	reasons := append([]string{}, s.broken()...)
	required := 0
	for _, p := range proofs {
		if p.Required {
			required++
			if !p.OK() {
				reasons = append(reasons, fmt.Sprintf("%s is %s: %s", p.Proof, p.State, p.Reason))
			}
		}
	}
	if required == 0 {
		reasons = append(reasons, "no proof is required of this car: nothing says that power may come on")
	}
	for _, w := range s.record.Unordered() {
		reasons = append(reasons, fmt.Sprintf("%s: hvproof rework --order", w))
	}
	for _, i := range readiness.OpenItems(s.facts()) {
		if i.Blocks {
			reasons = append(reasons, fmt.Sprintf("item %s is open: %s", i.ID(), i.Text))
		}
	}
	for _, n := range readiness.Nonconformances(s.facts()) {
		if n.Open != "" {
			reasons = append(reasons, fmt.Sprintf("nonconformance %s (%s) is open: %s", n.ID(), n.Procedure, n.Open))
		}
	}
	reasons = append(reasons, s.leaks(folder)...)
	for _, m := range s.history.Runs() {
		if !m.Closed() && !m.Abandoned() {
			what := "is not finished"
			if m.Outcome() == run.Failed {
				what = "is not signed out"
			}
			reasons = append(reasons, fmt.Sprintf("run %s (%s) %s", m.ID(), m.Plan().Procedure, what))
		}
	}
	return reasons
}

// isolated gives the parts whose isolation the vehicle file wants measured.
func isolated(folder *carfolder.Folder) []string {
	parts, _, _ := folder.Vehicle.Collection("isolation.parts")
	for i, p := range parts {
		parts[i], _ = folder.Vehicle.Part(p)
	}
	return parts
}

// beyond gives the findings about the isolation of the whole that a run is
// about to record. With files that cannot be read nothing is expected of any
// part; ready then answers nothing until they can.
func (s *session) beyond(m *run.Machine, step *plan.Step) []string {
	folder, err := s.load()
	if err != nil {
		return nil
	}
	w, ok := readiness.WholeAt(s.facts(), m, step, isolated(folder))
	if !ok {
		return nil
	}
	var out []string
	for _, l := range w.Leaks() {
		out = append(out, l.String())
	}
	return append(out, lookFirst(folder, w)...)
}

// leaks gives what the isolation of the whole tells and its parts do not
// explain, now, unless a nonconformance says so already.
func (s *session) leaks(folder *carfolder.Folder) []string {
	var out []string
	w, ok := readiness.WholeFromParts(s.facts(), isolated(folder))
	if !ok {
		return nil
	}
	for _, l := range w.Leaks() {
		if !slices.ContainsFunc(readiness.Nonconformances(s.facts()), func(n *readiness.Nonconformance) bool {
			return n.Run == l.Run && n.Open != "" && n.Has(l.Code)
		}) {
			out = append(out, l.String())
		}
	}
	if len(out) == 0 {
		return nil
	}
	return append(out, lookFirst(folder, w)...)
}

// lookFirst says where to look for leakage that no part explains.
func lookFirst(folder *carfolder.Folder, w *readiness.Whole) []string {
	nobody := unmeasured(folder.Vehicle.Parts(), w)
	if !w.Unexplained || len(nobody) == 0 {
		return nil
	}
	return []string{readiness.PartNotMeasured + ": look there first, isolation.parts does not have them: " + strings.Join(nobody, ", ")}
}

// unmeasured gives the HV parts of the vehicle file that no isolation reading
// is of. What is in a pack's box is measured with the pack.
func unmeasured(parts []string, w *readiness.Whole) []string {
	var out []string
	for _, p := range parts {
		if strings.HasPrefix(p, "cables.") {
			p = "cables"
		}
		hv := strings.HasPrefix(p, "packs.") || slices.Contains([]string{"cables", "drive", "dc_link", "discharge", "precharge", "pyro"}, p)
		if hv && w.Parts[p] == "" && !slices.Contains(w.Beside, p) && !slices.Contains(append(out, w.NotOf...), p) {
			out = append(out, p)
		}
	}
	return out
}

func proofJSON(p readiness.Proof) proofDocument {
	d := proofDocument{ID: p.Proof, State: string(p.State), Stage: p.Stage, Procedure: p.Procedure, Required: p.Required,
		Parts: append([]string{}, p.Parts()...), Reason: p.Reason, Run: p.Run}
	if !p.OK() {
		d.Owed = p.Owed()
	}
	if !p.Until.IsZero() {
		d.Until = p.Until.Format(time.DateOnly)
	}
	return d
}
