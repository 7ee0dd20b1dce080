package readiness_test

import (
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"hvproof/internal/entry"
	"hvproof/internal/readiness"
	"hvproof/internal/rework"
	"hvproof/internal/run"
)

// replayed folds blocks of another world, in their order, into a new log.
func (w *world) replayed(blocks [][]recorded) readiness.Log {
	l := readiness.Log{Record: readiness.NewRecord(), Runs: run.NewHistory(func(d [32]byte) ([]byte, error) { return w.blobs[d], nil })}
	for _, r := range slices.Concat(blocks...) {
		l.Record.Apply(r.Entry, r.leaf, r.signer)
		if err := l.Runs.Apply(r.Entry, r.leaf, r.signer); err != nil {
			w.t.Fatalf("replay: %v", err)
		}
	}
	return l
}

// said is what readiness says of each proof, run ids left out.
func said(proofs []readiness.Proof) map[string]string {
	out := map[string]string{}
	for _, p := range proofs {
		s := string(p.State)
		for _, i := range p.Items {
			s += "; " + i.Item + " " + string(i.State)
		}
		out[p.Proof] = s
	}
	return out
}

func equal(t *rapid.T, want, got map[string]string, what string) {
	for id := range want {
		if want[id] != got[id] {
			t.Fatalf("%s: %s: %s, before it was %s", what, id, got[id], want[id])
		}
	}
}

// Two runs of different procedures that follow each other, anywhere in a random
// history, may as well have come the other way round.
func TestPropertyRunsTheOtherWayRound(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w, c := newWorld(t), drawCar(t)
		reqs := c.requirements()
		history(t, w, c, reqs)
		w.everything(reqs)
		var at []int
		procedure := func(b []recorded) string { return b[0].Body.Text("procedure") }
		for i := range len(w.blocks) - 1 {
			a, b := w.blocks[i], w.blocks[i+1]
			if a[0].Kind == entry.RunStart && b[0].Kind == entry.RunStart && procedure(a) != procedure(b) {
				at = append(at, i)
			}
		}
		i := rapid.SampledFrom(at).Draw(t, "which")
		swapped := slices.Clone(w.blocks)
		swapped[i], swapped[i+1] = swapped[i+1], swapped[i]
		equal(t, said(readiness.Proofs(w.replayed(w.blocks), reqs, w.now)), said(readiness.Proofs(w.replayed(swapped), reqs, w.now)), "swapped")
	})
}

// The devices' clocks say what they like: where no time is limited, nothing but
// the order of the entries counts.
func TestPropertyOrderNotClocks(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w, c := newWorld(t), drawCar(t)
		reqs := slices.DeleteFunc(c.requirements(), func(r readiness.Requirement) bool { return r.Today.Proves[0].HoldsDays > 0 })
		history(t, w, c, reqs)
		other := make([][]recorded, len(w.blocks))
		for i, b := range w.blocks {
			off := time.Duration(rapid.Int64Range(-int64(1000*time.Hour), int64(1000*time.Hour)).Draw(t, "off"))
			for _, r := range b {
				r.Time = r.Time.Add(off)
				other[i] = append(other[i], r)
			}
		}
		equal(t, said(w.proofs(reqs)), said(readiness.Proofs(w.replayed(other), reqs, w.now)), "other clocks")
	})
}

// Work in a log whose order is not known beats every proof about its part, also
// those that are run afterwards; once it is put in order, running again helps.
func TestPropertyUnorderedWorkBeatsProofs(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w, c := newWorld(t), drawCar(t)
		reqs := c.requirements()
		history(t, w, c, reqs)
		w.everything(reqs)
		part := rapid.SampledFrom(c.Parts()).Draw(t, "part")
		b := entry.Body{Kind: entry.Rework}
		b.Add("text", "by the other device")
		b.AddFamily("part", part)
		b.AddFamily("void", "nothing-here: all of it", "nor-this packs.left packs.right: two of it")
		before := w.now.AddDate(-1, 0, 0) // its clock is a year behind
		w.log.Record.Beside(entry.Entry{Header: entry.Header{Origin: "hvproof/wren/other/efgh/practice", Index: 7, Time: before, Zone: "+00:00"}, Body: b}, leafOf(99999), "field")
		about := func(p readiness.Proof) bool {
			return part == rework.Whole || slices.Contains(p.Parts(), part) || slices.Contains(p.Parts(), rework.Whole) && rework.IsHV(part)
		}
		for _, again := range []bool{false, true} {
			if again {
				w.everything(reqs)
			}
			for _, p := range w.proofs(reqs) {
				if about(p) == p.OK() {
					t.Fatalf("%s is %s (again %t) with unordered work on %s", p.Proof, p.State, again, part)
				}
			}
		}
		work := w.log.Record.Unordered()[0]
		for _, less := range []func(*readiness.Work){
			func(o *readiness.Work) { o.Parts = []string{"elsewhere"} },
			func(o *readiness.Work) { o.Voids = o.Voids[:1] },
			func(o *readiness.Work) { o.Voids[1].Parts = o.Voids[1].Parts[:1] },
			func(o *readiness.Work) { o.Voids[0].Parts = []string{part} },
		} {
			lesser := *work
			lesser.Voids = slices.Clone(work.Voids)
			less(&lesser)
			w.add(readiness.OrderBody(&lesser), "mills")
			if n := len(w.log.Record.Unordered()); n != 1 {
				t.Fatalf("an entry that makes less void put %d works in order", 1-n)
			}
		}
		w.add(readiness.OrderBody(work), "mills")
		if n := len(w.log.Record.Unordered()); n != 0 {
			t.Fatalf("%d works are not in order yet", n)
		}
		for _, p := range w.proofs(reqs) {
			if about(p) && p.OK() {
				t.Fatalf("%s holds by putting work in order", p.Proof)
			}
		}
		w.everything(reqs)
		for _, p := range w.proofs(reqs) {
			if !p.OK() {
				t.Fatalf("%s: %s after everything was run again", p.Proof, p.Reason)
			}
		}
	})
}
