package readiness

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"hvproof/internal/plan"
	"hvproof/internal/rework"
	"hvproof/internal/run"
)

// judge holds what all proofs of one question share.
type judge struct {
	log     Log
	now     time.Time
	byProof map[string][]*run.Machine // newest first, without rehearsals
	courses map[*run.Machine]*course
	paths   map[*plan.Plan]map[string]int
	values  *timeline
	works   []*Work // and events
}

func newJudge(l Log, clock time.Time) *judge {
	j := &judge{log: l, now: l.Record.Now(clock), byProof: map[string][]*run.Machine{},
		courses: map[*run.Machine]*course{}, paths: map[*plan.Plan]map[string]int{}}
	runs := l.Runs.Runs()
	for i := len(runs) - 1; i >= 0; i-- {
		if m := runs[i]; !m.Start().Rehearsal {
			for _, pr := range m.Plan().Proves {
				j.byProof[pr.ID] = append(j.byProof[pr.ID], m)
			}
		}
	}
	j.values = newTimeline(l)
	j.works = append(l.Record.Works(), l.Events()...)
	slices.SortStableFunc(j.works, func(a, b *Work) int { return cmp.Compare(a.seq, b.seq) })
	return j
}

func (j *judge) index(p *plan.Plan) map[string]int {
	m := j.paths[p]
	if m == nil {
		m = make(map[string]int, len(p.Steps))
		for i := range p.Steps {
			m[p.Steps[i].Path] = i
		}
		j.paths[p] = m
	}
	return m
}

// A piece is one item of today's plan.
type piece struct {
	item  string
	steps []int // of today's plan: of the item itself
	rests []int // of the item, of the turns around it, and of no loop
	parts []string
}

// pieces takes today's plan apart. Only the parts that the proof claims count:
// a step that proves a part dead is not about that part. Claimed parts that no
// step names belong to every item.
func pieces(p *plan.Plan, claimed []string) []piece {
	byItem := map[string]*piece{}
	var out []*piece
	around := map[string][]string{}
	for _, item := range p.ItemList() {
		q := &piece{item: item}
		byItem[item], out = q, append(out, q)
	}
	var named []string
	for i := range p.Steps {
		s := &p.Steps[i]
		if s.NotApplicable != "" {
			continue
		}
		q := byItem[s.Item()]
		about := slices.DeleteFunc(slices.Clone(s.Parts), func(part string) bool { return !slices.Contains(claimed, part) })
		q.steps, q.parts = append(q.steps, i), union(q.parts, about)
		around[s.Item()] = s.Items
		named = union(named, s.Parts)
	}
	loose := slices.DeleteFunc(slices.Clone(claimed), func(part string) bool { return slices.Contains(named, part) })
	var list []piece
	for _, q := range out {
		q.parts = union(q.parts, loose)
		for i := range p.Steps {
			s := &p.Steps[i]
			if s.NotApplicable == "" && (s.Item() == plan.Frame || s.Item() == q.item || slices.Contains(around[q.item], s.Item())) {
				q.rests = append(q.rests, i)
			}
		}
		list = append(list, *q)
	}
	return list
}

// items judges every item of a requirement by the newest run that tried it.
func (j *judge) items(r Requirement) []Item {
	var out []Item
	all := pieces(r.Today, parts(r.Today, r.Proof))
	for _, q := range all {
		out = append(out, j.item(r, q, all))
	}
	return out
}

func (j *judge) item(r Requirement, q piece, all []piece) Item {
	out := Item{Item: q.item, State: Missing, Reason: q.name() + " was not tested: hvproof run " + r.Procedure}
	for _, m := range j.byProof[r.Proof] {
		c := j.course(m)
		state, reason, tried := c.establishes(r.Today, q)
		if !tried {
			continue
		}
		out.State, out.Reason, out.Run = state, reason, m.ID()
		if state == Holds {
			j.since(&out, r, q, all, m)
		}
		return out
	}
	return out
}

// since asks what has happened to an item since the run that it rests on.
func (j *judge) since(out *Item, r Requirement, q piece, all []piece, m *run.Machine) {
	if why := j.changed(m.Plan(), r.Today, q); why != "" {
		out.State, out.Reason = Void, why
		return
	}
	if why := j.values.changedSince(j, m, q, r.Today); why != "" {
		out.State, out.Reason = Void, why
		return
	}
	if why := j.worked(r, q, all, m); why != "" {
		out.State, out.Reason = Void, why
		return
	}
	if why := j.meters(r.Today, q, m); why != "" {
		out.State, out.Reason = Lapsed, why
		return
	}
	days := holdsDays(m.Plan(), r.Proof)
	if today := holdsDays(r.Today, r.Proof); today > 0 && (days == 0 || today < days) {
		days = today // shortened since; lengthening it does not reach back
	}
	if days > 0 {
		out.Until = m.Ended().AddDate(0, 0, days)
		if j.now.After(out.Until) {
			out.State, out.Reason = Lapsed, fmt.Sprintf("run %s was %d days ago or more", m.ID(), days)
		}
	}
}

// worked gives the first work on the HV system since the run began that made
// the item void, or nothing.
func (j *judge) worked(r Requirement, q piece, all []piece, m *run.Machine) string {
	began := j.log.Record.began[m.ID()]
	for _, w := range j.works {
		if w.seq < began {
			continue
		}
		if why := w.voids(r, q, all); why != "" {
			return fmt.Sprintf("%s: %s", w, why)
		}
		for _, i := range q.rests {
			for _, in := range inputs(&r.Today.Steps[i]) {
				if slices.Contains(w.Values, in.Name) {
					return fmt.Sprintf("%s: it changed %s", w, in.Name)
				}
			}
		}
	}
	return ""
}

// voids says why the work made an item of a proof void, or nothing. A scope
// that no item of today's plan has is the whole proof: unknown counts as
// touched.
func (w *Work) voids(r Requirement, q piece, all []piece) string {
	for _, v := range w.Voids {
		if v.Proof != r.Proof {
			continue
		}
		if len(v.Parts) == 0 || meets(v.Parts, q.parts) || !slices.ContainsFunc(all, func(o piece) bool { return meets(v.Parts, o.parts) }) {
			return v.Reason
		}
	}
	if _, kept := w.Keeps[r.Proof]; kept {
		return ""
	}
	hv := slices.ContainsFunc(w.Parts, rework.IsHV) && slices.Contains(q.parts, rework.Whole)
	if slices.Contains(w.Parts, rework.Whole) || hv || meets(w.Parts, q.parts) {
		return "work on " + strings.Join(w.Parts, ", ")
	}
	return ""
}

func meets(a, b []string) bool {
	return slices.ContainsFunc(a, func(x string) bool { return slices.Contains(b, x) })
}

// name says which item it is.
func (q piece) name() string {
	if q.item == plan.Frame {
		return "the procedure"
	}
	return q.item
}
