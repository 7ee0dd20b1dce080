package readiness_test

import (
	"fmt"
	"testing"

	"hvproof/internal/readiness"
)

// many is a log of runs in which every seventh procedure was left failed once.
func many(t fataler, runs int) (*world, []readiness.Requirement) {
	w, reqs := newWorld(t), wren.requirements()
	w.shop(wren, reqs)
	for i := range runs {
		var wrong []string
		if i%700 == 3 {
			wrong = []string{"ramp"}
		}
		w.run(reqs[i%len(reqs)].Today, wrong, nil)
	}
	return w, reqs
}

// answer is everything that hvproof ready asks of the log.
func answer(w *world, reqs []readiness.Requirement) {
	readiness.RetestPlan(w.proofs(reqs))
	readiness.OpenItems(w.log)
	readiness.Nonconformances(w.log)
	readiness.WholeFromParts(w.log, []string{"packs.left", "drive"})
	readiness.Outliers(readiness.Trends(w.log))
	w.log.Record.InForce(w.now)
}

// Wanted: ten thousand runs under 200 ms.
func BenchmarkReady(b *testing.B) {
	for _, runs := range []int{1000, 10000} {
		b.Run(fmt.Sprint(runs), func(b *testing.B) {
			w, reqs := many(b, runs)
			b.ResetTimer()
			for b.Loop() {
				answer(w, reqs)
			}
		})
	}
}

// Four times the runs make four times the work: sixteen would be a loop within
// a loop. Allocations are counted, which the machine's other work, its caches
// and the collector do not change; BenchmarkReady has the time.
func TestReadyGrowsLinearly(t *testing.T) {
	work := func(runs int) float64 {
		w, reqs := many(t, runs)
		return testing.AllocsPerRun(3, func() { answer(w, reqs) })
	}
	one, four := work(1000), work(4000)
	if four > 5*one {
		t.Errorf("1000 runs make %.0f allocations, 4000 make %.0f", one, four)
	}
}
