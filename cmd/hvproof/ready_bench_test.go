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

// BenchmarkReady asks a car folder with many runs, six entries each, whether
// power may come on: the whole command, from opening SQLite to the answer. It
// prints the time of an answer with the log verified anew, read again since
// something may have been written, and as a rule, with nothing written since.
// Wanted of the last: 200 ms for ten thousand runs, and linear. Making the
// longer log takes some minutes.
func BenchmarkReady(b *testing.B) {
	for _, runs := range []int{1000, 10000} {
		b.Run(fmt.Sprint(runs), func(b *testing.B) {
			dir, config := filepath.Join(b.TempDir(), "car"), b.TempDir()
			env := func(name string) string { return map[string]string{"HVPROOF_CONFIG": config}[name] }
			do := func(args ...string) int {
				return program(context.Background(), args, nil, io.Discard, io.Discard, env, time.Now)
			}
			require.Zero(b, do("init", dir, "--practice"))
			require.NoError(b, fillCar(dir))
			entries := benches(b, dir, config, runs)
			verified := filepath.Join(config, "verified")
			kept, err := filepath.Glob(filepath.Join(verified, "kept-*"))
			require.NoError(b, err)
			require.Empty(b, kept)
			time.Sleep(waitStill)
			var anew, read, again time.Duration
			for b.Loop() {
				require.NoError(b, os.RemoveAll(verified))
				for _, took := range []*time.Duration{&anew, &read, &again} {
					if took == &read {
						kept, err := filepath.Glob(filepath.Join(verified, "kept-*"))
						require.NoError(b, err)
						for _, file := range kept {
							require.NoError(b, os.Remove(file))
						}
					}
					begin := time.Now()
					require.Zero(b, do("-C", dir, "ready"))
					*took += time.Since(begin)
				}
			}
			n := float64(b.N)
			b.ReportMetric(anew.Seconds()*1e3/n, "ms-anew")
			b.ReportMetric(read.Seconds()*1e3/n, "ms-read-again")
			b.ReportMetric(again.Seconds()*1e3/n, "ms")
			b.ReportMetric(again.Seconds()*1e6/n/float64(runs), "µs/run")
			b.ReportMetric(float64(entries), "entries")
			b.ReportMetric(0, "ns/op")
		})
	}
}

// waitStill is how long nothing must have been written to a log before its
// state can be told from every other.
const waitStill = 4 * time.Second

// benches adds so many passed runs to the log of a car folder, in one session,
// and gives the number of its entries.
func benches(t testing.TB, dir, config string, runs int) int64 {
	t.Helper()
	a := &app{dir: dir, out: io.Discard, err: io.Discard, now: time.Now, started: time.Now(),
		env: func(name string) string { return map[string]string{"HVPROOF_CONFIG": config}[name] }}
	s, err := a.write(t.Context())
	require.NoError(t, err)
	defer s.close()
	folder, err := s.load()
	require.NoError(t, err)
	for range runs {
		p, err := s.perform(folder, "bench", runFlags{answers: "passes.yaml"})
		require.NoError(t, err)
		require.Empty(t, p.refused)
		require.True(t, p.machine.Closed())
	}
	return s.entries
}
