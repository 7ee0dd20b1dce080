package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// BenchmarkReady asks a car folder with many runs, seven entries each, whether
// power may come on: reading SQLite, verifying and folding included. It prints
// the time of a whole answer, verified anew and verified before, and what a run
// costs of it. Wanted: linear, and 200 ms for what a season holds.
func BenchmarkReady(b *testing.B) {
	for _, runs := range []int{250, 1000} {
		b.Run(fmt.Sprint(runs), func(b *testing.B) {
			dir, config := filepath.Join(b.TempDir(), "car"), b.TempDir()
			env := func(name string) string { return map[string]string{"HVPROOF_CONFIG": config}[name] }
			do := func(args ...string) int {
				return program(context.Background(), args, nil, io.Discard, io.Discard, env, time.Now)
			}
			require.Zero(b, do("init", dir, "--practice"))
			require.NoError(b, fillCar(dir))
			a := &app{dir: dir, out: io.Discard, err: io.Discard, env: env, now: time.Now}
			s, err := a.write(b.Context())
			require.NoError(b, err)
			folder, err := s.load()
			require.NoError(b, err)
			for range runs {
				p, err := s.perform(folder, "bench", runFlags{answers: "passes.yaml"})
				require.NoError(b, err)
				require.Empty(b, p.refused)
				require.True(b, p.machine.Closed())
			}
			entries := s.entries
			s.close()
			var anew, again time.Duration
			for b.Loop() {
				require.NoError(b, os.RemoveAll(filepath.Join(config, "verified")))
				for _, took := range []*time.Duration{&anew, &again} {
					begin := time.Now()
					require.Zero(b, do("-C", dir, "ready"))
					*took += time.Since(begin)
				}
			}
			n := float64(b.N)
			b.ReportMetric(anew.Seconds()*1e3/n, "ms-anew")
			b.ReportMetric(again.Seconds()*1e3/n, "ms-verified-before")
			b.ReportMetric(again.Seconds()*1e6/n/float64(runs), "µs/run")
			b.ReportMetric(float64(entries), "entries")
			b.ReportMetric(0, "ns/op")
		})
	}
}
