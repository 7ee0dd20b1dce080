package audit

import (
	"encoding/hex"
	"fmt"
	"slices"
	"strings"
	"time"

	"hvproof/internal/entry"
	"hvproof/internal/plan"
	"hvproof/internal/run"
)

// named names a run for a sentence.
func named(m *run.Machine) string { return fmt.Sprintf("run %s (%s)", m.ID(), m.Plan().Procedure) }

// dateSlack is how long after the date was taken the first entry may be made:
// somebody types a passphrase between.
const dateSlack = 10 * time.Minute

// runStart folds the first entry of a run, and holds the run's plan and
// meters against earlier ones.
func (a *Audit) runStart(e entry.Entry, leaf [32]byte, signer string) {
	if err := a.history.Apply(e, leaf, signer); err != nil {
		a.impossible(e, "%v", err)
		return
	}
	m := a.history.Run(run.ID(e.Origin, e.Index))
	a.began[m.ID()] = e.Origin
	start := m.Start()
	if start.Abandons != "" {
		a.followed[start.Abandons] = m.ID()
	}
	if signer != start.Operator {
		a.remark(e.Index, "other-signer", "%s names %s as its operator and is signed by %s", named(m), orNobody(start.Operator), signer)
	}
	for _, why := range start.Refusals() {
		a.remark(e.Index, "not-refused", "%s should not have begun: %s", named(m), why)
	}
	day := func(t time.Time) string { return local(e, t).Format(time.DateOnly) }
	if start.Date != day(e.Time) && start.Date != day(e.Time.Add(-dateSlack)) {
		a.remark(e.Index, "other-date", "%s says that it began on %s; its first entry is of %s", named(m), start.Date, day(e.Time))
	}
	a.shopFiles(m)
	a.carriedFiles(m)
	if start.Rehearsal {
		a.remark(e.Index, "rehearsal", "%s is a rehearsal, answered from a file: it proves nothing", named(m))
		return
	}
	a.metersOf(m)
	if base := a.baseline.of(m.Plan().Procedure); base != nil {
		a.compare(base, m)
	}
	a.baseline.began(m)
}

// shopFiles names the files of the plan that are not as shipped, each once.
// The files about this one car have no shipped original.
func (a *Audit) shopFiles(m *run.Machine) {
	var own, changed []string
	for _, f := range m.Plan().Files {
		key := f.Origin + " " + f.Name + " " + f.Digest
		if f.Origin == plan.Shipped || a.files[key] || (f.Origin == plan.Own && !strings.Contains(f.Name, "/")) {
			continue
		}
		a.files[key] = true
		if f.Origin == plan.Changed {
			changed = append(changed, f.Name)
		} else {
			own = append(own, f.Name)
		}
	}
	if len(changed) > 0 {
		a.remark(m.Index(), "file-not-shipped", "from %s on, changed from what was shipped: %s", named(m), strings.Join(changed, ", "))
	}
	if len(own) > 0 {
		a.remark(m.Index(), "file-not-shipped", "from %s on, the shop's own: %s", named(m), strings.Join(own, ", "))
	}
}

// carriedFiles names the files of the plan that the run did not put into the
// log, each once: their digests are known, their words are not. Runs of early
// versions carried none.
func (a *Audit) carriedFiles(m *run.Machine) {
	var absent []string
	carried := m.Start().Files
	for _, f := range m.Plan().Files {
		i := slices.IndexFunc(carried, func(d [32]byte) bool { return hex.EncodeToString(d[:]) == f.Digest })
		if i >= 0 {
			carried = slices.Delete(slices.Clone(carried), i, i+1)
			continue
		}
		if key := "carried " + f.Name + " " + f.Digest; !f.Personal() && !a.files[key] {
			a.files[key] = true
			absent = append(absent, f.Name)
		}
	}
	if len(absent) > 0 {
		a.remark(m.Index(), "file-not-carried", "from %s on, files as used are not carried, only their SHA-256: %s", named(m), strings.Join(absent, ", "))
	}
	if len(carried) > 0 {
		a.remark(m.Index(), "foreign-file", "%s carries %s that its plan was not made from", named(m), count(len(carried), "file"))
	}
}

// wholeRun remarks on the i-th run as it stands after the last entry.
func (a *Audit) wholeRun(i int) {
	runs := a.history.Runs()
	m := runs[i]
	switch {
	case m.Abandoned():
		a.remark(m.Index(), "abandoned-run", "%s was replaced by run %s before it ended; %s", named(m), a.followed[m.ID()], standing(m))
	case !m.Closed() && m.Outcome() == run.Failed:
		a.remark(m.Index(), "not-signed-out", "%s failed and is not signed out", named(m))
	case !m.Closed():
		a.remark(m.Index(), "unfinished-run", "%s was never finished; %s", named(m), standing(m))
	}
	for _, s := range m.Steps() {
		a.repeated(m, s)
	}
	if m.Outcome() != run.Passed || m.Start().Rehearsal {
		return
	}
	a.repeatedRun(runs[:i], m)
}

// standing tells how far a run came.
func standing(m *run.Machine) string {
	answered, total, last := 0, 0, "no step was answered"
	for _, s := range m.Steps() {
		if s.Step.NotApplicable != "" {
			continue
		}
		total++
		if at := s.Last(); at != nil {
			answered++
			last = fmt.Sprintf("%s stands at %q", s.Step.Path, s.Decision)
		}
	}
	waits := ""
	if p := m.Next(); p.Step != nil {
		waits = ", and it waited for " + p.Step.Path
	}
	return fmt.Sprintf("%d of %d steps were answered, %s%s", answered, total, last, waits)
}

// repeated remarks on a step with several answers.
func (a *Audit) repeated(m *run.Machine, s run.StepResult) {
	n := len(s.Attempts)
	if n < 2 {
		return
	}
	good := func(at run.Attempt) bool {
		return at.Decision == run.Pass || at.Decision == run.Done || (at.Decision == run.ConditionalPass && s.Step.ConditionalPass)
	}
	last := s.Attempts[n-1]
	code, bad := "repeated-step", false
	var before, reasons []string
	for i, at := range s.Attempts[:n-1] {
		before = append(before, at.Decision)
		bad = bad || !good(at)
		reasons = append(reasons, a.reason(m.ID(), at.Index, s.Attempts[i+1].Index))
	}
	if bad && good(last) {
		code = "repeated-until-passed"
	}
	a.remark(last.Index, code, "run %s, %s: %s %d of %d gave %q; before it: %s; reasons: %s", m.ID(), s.Step.Path,
		noun(s.Step.Kind), n, n, last.Decision, strings.Join(before, ", "), strings.Join(reasons, "; "))
}

func noun(kind string) string {
	switch kind {
	case plan.Measure, plan.Time:
		return "reading"
	case plan.Compute:
		return "result"
	}
	return "answer"
}

// reason gives why an answer was followed by another one.
func (a *Audit) reason(id string, from, to int64) string {
	for _, e := range a.agains[id] {
		if e.Index <= from || e.Index >= to {
			continue
		}
		said := e.Text("reason")
		if cause := e.Text("cause"); cause != "" {
			said = strings.TrimPrefix(said+", cause: "+cause, ", ")
		}
		if said != "" {
			return said
		}
	}
	return "none given"
}

// repeatedRun remarks on a run that passed after runs of the same procedure
// that did not.
func (a *Audit) repeatedRun(before []*run.Machine, m *run.Machine) {
	var failed []string
	for _, b := range before {
		if b.Plan().Procedure != m.Plan().Procedure || b.Start().Rehearsal {
			continue
		}
		switch {
		case b.Outcome() == run.Passed:
			failed = nil
		case b.Outcome() == run.Failed:
			failed = append(failed, fmt.Sprintf("%s failed (%s)", b.ID(), b.Reason()))
		default:
			failed = append(failed, b.ID()+" did not end")
		}
	}
	if len(failed) > 0 {
		a.remark(m.Index(), "repeated-run", "%s passed after %s of the procedure that did not: %s", named(m), count(len(failed), "run"), strings.Join(failed, ", "))
	}
}
