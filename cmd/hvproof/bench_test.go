package main

import (
	"context"
	"io"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"hvproof/internal/carfolder"
)

// The figures that people wait for: a command as a whole process, and check
// and limits on the demo car. Wanted: 20 ms, 100 ms, 100 ms.

func BenchmarkVersion(b *testing.B) {
	for b.Loop() {
		require.NoError(b, exec.Command("hvproof", "--version").Run())
	}
}

func BenchmarkCheck(b *testing.B)  { benchmarkCommand(b, "check") }
func BenchmarkLimits(b *testing.B) { benchmarkCommand(b, "limits") }

func benchmarkCommand(b *testing.B, args ...string) {
	dir := filepath.Join(b.TempDir(), "car")
	require.NoError(b, carfolder.InitDemo(dir))
	env := func(name string) string {
		return map[string]string{"HVPROOF_CONFIG": filepath.Join(dir, "..", "config")}[name]
	}
	args = append([]string{"-C", dir}, args...)
	for b.Loop() {
		require.Zero(b, program(context.Background(), args, nil, io.Discard, io.Discard, env, time.Now))
	}
}
