package readiness_test

import (
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"hvproof/internal/plan"
	"hvproof/internal/readiness"
	"hvproof/internal/rework"
)

func drawCar(t *rapid.T) car {
	contactors := []string{"left_plus", "right_plus", "left_minus", "right_minus"}
	devices := []string{"cabin", "outside", "inertia"}
	return car{contactors[:rapid.IntRange(1, 4).Draw(t, "contactors")], devices[:rapid.IntRange(1, 3).Draw(t, "devices")]}
}

// happened is one thing that a random history did.
type happened struct {
	work  *readiness.Work // nil: a run
	plan  *plan.Plan
	wrong []string
	days  int
}

// history lets random things happen: whole and cut-down runs with random
// faults, work on random parts, time that passes.
func history(t *rapid.T, w *world, c car, reqs []readiness.Requirement) []happened {
	b := book(t)
	var kinds []string
	for _, x := range b.Works() {
		kinds = append(kinds, x.ID)
	}
	var out []happened
	for range rapid.IntRange(1, 8).Draw(t, "events") {
		out = append(out, event(t, w, b, kinds, c, reqs))
	}
	return out
}

func event(t *rapid.T, w *world, b *rework.Book, kinds []string, c car, reqs []readiness.Requirement) happened {
	switch rapid.IntRange(0, 5).Draw(t, "event") {
	case 0:
		parts := rapid.SliceOfNDistinct(rapid.SampledFrom(c.Parts()), 0, 2, rapid.ID[string]).Draw(t, "parts")
		w.work(b, c, rapid.SampledFrom(kinds).Draw(t, "work"), parts, reqs)
		works := w.log.Record.Works()
		return happened{work: works[len(works)-1]}
	case 1:
		days := rapid.IntRange(1, 70).Draw(t, "days")
		w.now = w.now.AddDate(0, 0, days)
		return happened{days: days}
	case 2, 3:
		w.everything(reqs)
		return happened{}
	}
	r := rapid.SampledFrom(reqs).Draw(t, "procedure")
	p := r.Today
	if rapid.Bool().Draw(t, "cut") {
		items := rapid.SliceOfNDistinct(rapid.SampledFrom(p.ItemList()), 1, -1, rapid.ID[string]).Draw(t, "items")
		var err error
		if p, err = p.Restrict(items); err != nil {
			t.Fatalf("%v", err)
		}
	}
	var wrong []string
	if rapid.Bool().Draw(t, "fails") {
		wrong = []string{rapid.SampledFrom(pathsOf(p)).Draw(t, "wrong")}
	}
	w.run(p, wrong, nil)
	return happened{plan: p, wrong: wrong}
}

func okay(proofs []readiness.Proof) map[string]bool {
	out := map[string]bool{}
	for _, p := range proofs {
		out[p.Proof] = p.OK()
	}
	return out
}

// After work on a part, no proof about the part holds without a newer passed
// run of the step, unless the work's own rule keeps it, with a reason.
func TestPropertyWorkVoids(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w, c := newWorld(t), drawCar(t)
		reqs := c.requirements()
		if rapid.Bool().Draw(t, "tested before") {
			w.everything(reqs)
		}
		history(t, w, c, reqs)
		var kinds []string
		b := book(t)
		for _, x := range b.Works() {
			kinds = append(kinds, x.ID)
		}
		part := rapid.SampledFrom(c.Parts()).Draw(t, "part")
		w.work(b, c, rapid.SampledFrom(kinds).Draw(t, "kind"), []string{part}, reqs)
		works := w.log.Record.Works()
		last := works[len(works)-1]
		for _, p := range w.proofs(reqs) {
			about := part == rework.Whole || slices.Contains(p.Parts(), part) || p.Proof == "isolation_whole" && rework.IsHV(part)
			if _, kept := last.Keeps[p.Proof]; about && !kept && p.OK() {
				t.Fatalf("%s holds after %s on %s", p.Proof, last.Kind, part)
			}
			for _, i := range p.Items {
				about := part == rework.Whole
				for k := range p.Today.Steps {
					s := &p.Today.Steps[k]
					about = about || s.Item() == i.Item && slices.Contains(s.Parts, part)
				}
				if _, kept := last.Keeps[p.Proof]; about && !kept && i.State == readiness.Holds {
					t.Fatalf("%s, item %q holds after %s on %s", p.Proof, i.Item, last.Kind, part)
				}
			}
		}
	})
}

// Time alone never makes anything better.
func TestPropertyTimeNeverImproves(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w, c := newWorld(t), drawCar(t)
		reqs := c.requirements()
		history(t, w, c, reqs)
		before := okay(w.proofs(reqs))
		w.now = w.now.Add(time.Duration(rapid.Int64Range(0, int64(400*24*time.Hour)).Draw(t, "later")))
		for id, ok := range okay(w.proofs(reqs)) {
			if ok && !before[id] {
				t.Fatalf("%s began to hold by waiting", id)
			}
		}
	})
}

// A failed run never makes a proof hold.
func TestPropertyFailedRunNeverHelps(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w, c := newWorld(t), drawCar(t)
		reqs := c.requirements()
		history(t, w, c, reqs)
		before := okay(w.proofs(reqs))
		r := rapid.SampledFrom(reqs).Draw(t, "procedure")
		m := w.run(r.Today, []string{rapid.SampledFrom(pathsOf(r.Today)).Draw(t, "wrong")}, nil)
		if m.Outcome() != "failed" {
			t.Fatalf("the run %s", m.Outcome())
		}
		after := okay(w.proofs(reqs))
		for id, ok := range after {
			if ok && !before[id] {
				t.Fatalf("%s began to hold by a failed run", id)
			}
		}
		if after[r.Proof] {
			t.Fatalf("%s holds though its newest run failed", r.Proof)
		}
	})
}

// The retest plan is safe: nothing runs before its need; sufficient: after it
// every required proof holds; and minimal: without any one item of it, some
// proof that it is for does not hold.
func TestPropertyRetestPlan(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w, c := newWorld(t), drawCar(t)
		reqs := c.requirements()
		if rapid.Bool().Draw(t, "tested before") {
			w.everything(reqs)
		}
		history(t, w, c, reqs)
		proofs := w.proofs(reqs)
		steps, blocked := readiness.RetestPlan(proofs)
		if len(blocked) > 0 {
			t.Fatalf("blocked: %v", blocked)
		}
		spared, sparedItem := -1, ""
		if n := len(steps); n > 0 && rapid.Bool().Draw(t, "leave one out") {
			spared = rapid.IntRange(0, n-1).Draw(t, "which")
			sparedItem = rapid.SampledFrom(steps[spared].Items).Draw(t, "item")
		}
		for k, s := range steps {
			p := s.Plan
			if k == spared {
				less := slices.DeleteFunc(slices.Clone(s.Items), func(i string) bool { return i == sparedItem })
				if len(less) == 0 {
					continue
				}
				var err error
				if p, err = reqOf(reqs, p.Procedure).Today.Restrict(less); err != nil {
					t.Fatalf("%v", err)
				}
				if sparedItem == plan.Frame || has(p, sparedItem) {
					return // it is done along with the others: not one of its own
				}
			}
			if spared < 0 {
				if why := readiness.Unmet(w.log, reqs, p, w.now); len(why) > 0 {
					t.Fatalf("%s would be run before its need: %v", p.Procedure, why)
				}
			}
			w.run(p, nil, nil)
		}
		missing := 0
		for _, p := range w.proofs(reqs) {
			if !p.OK() && (p.Required || slices.ContainsFunc(steps, func(s readiness.Retest) bool { return slices.Contains(s.Proofs, p.Proof) })) {
				missing++
			}
		}
		if spared < 0 && missing > 0 {
			t.Fatalf("after the retest plan: %v", owed(w.proofs(reqs)))
		}
		if spared >= 0 && missing == 0 {
			t.Fatalf("%s, %q was not needed", steps[spared].Plan.Procedure, sparedItem)
		}
	})
}

func has(p *plan.Plan, item string) bool { return slices.Contains(p.ItemList(), item) }

func reqOf(reqs []readiness.Requirement, procedure string) readiness.Requirement {
	return reqs[slices.IndexFunc(reqs, func(r readiness.Requirement) bool { return r.Procedure == procedure })]
}

// Entries that have nothing to do with each other may come in any order.
func TestPropertyIndependentEntries(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := drawCar(t)
		reqs := c.requirements()
		i := rapid.IntRange(0, len(reqs)-1).Draw(t, "one")
		k := rapid.IntRange(0, len(reqs)-1).Filter(func(k int) bool { return k != i }).Draw(t, "other")
		wrong := rapid.SampledFrom(pathsOf(reqs[i].Today)).Draw(t, "wrong")
		works := rapid.Permutation([]string{"packs.left", "packs.right"}).Draw(t, "works")
		state := func(swap bool) map[string][]string {
			w := newWorld(t)
			w.everything(reqs)
			first := func() { w.run(reqs[i].Today, []string{wrong}, nil) }
			second := func() { w.run(reqs[k].Today, nil, nil) }
			if swap {
				first, second = second, first
			}
			first()
			second()
			for n := range works {
				if swap {
					n = len(works) - 1 - n
				}
				w.work(book(t), c, "module_swapped", []string{works[n]}, reqs)
			}
			return owed(w.proofs(reqs))
		}
		a, b := state(false), state(true)
		if len(a) != len(b) {
			t.Fatalf("%v, the other way round %v", a, b)
		}
		for id := range a {
			if !slices.Equal(a[id], b[id]) {
				t.Fatalf("%s: %v, the other way round %v", id, a[id], b[id])
			}
		}
	})
}
