// Package spicetest runs circuits in ngspice, a simulator that knows none of
// this program's formulas, for tests.
package spicetest

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Agreement is the part by which a formula may differ from the simulator.
const Agreement = 0.005

var measured = regexp.MustCompile(`(?m)^([a-z][a-z0-9_]*)\s*=\s*([-+0-9.eE]+)`)

// Run runs a circuit and gives what its .measure lines and print commands
// found. A simulator that is not there is a failure, not a reason to pass.
func Run(t *testing.T, netlist string) map[string]float64 {
	t.Helper()
	program, err := exec.LookPath("ngspice")
	require.NoError(t, err, "these tests need ngspice (apt-get install ngspice)")
	file := filepath.Join(t.TempDir(), "circuit.cir")
	require.NoError(t, os.WriteFile(file, []byte(netlist), 0o600))
	command := exec.Command(program, "-b", file)
	var out bytes.Buffer
	command.Stdout, command.Stderr = &out, &out
	err = command.Run()
	found := map[string]float64{}
	for _, m := range measured.FindAllStringSubmatch(out.String(), -1) {
		x, err := strconv.ParseFloat(m[2], 64)
		require.NoError(t, err, m[0])
		found[m[1]] = x
	}
	require.NotEmpty(t, found, "ngspice measured nothing: %v\n%s", err, out.String())
	return found
}

// Agree compares a value that must have been measured.
func Agree(t *testing.T, found map[string]float64, name string, ours float64) {
	t.Helper()
	x, ok := found[name]
	require.True(t, ok, "ngspice did not measure %s: %v", name, found)
	assert.InEpsilon(t, x, ours, Agreement, name)
	t.Logf("%s: ngspice %.6g, ours %.6g, %+.4f %%", name, x, ours, 100*(ours/x-1))
}
