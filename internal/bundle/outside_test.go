//go:build outside

package bundle_test

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/internal/bundle"
)

// byHand gives the commands of the specification for a person without hvproof,
// as they stand there.
func byHand(t *testing.T) string {
	t.Helper()
	_, after, found := strings.Cut(bundle.Specification(), "WITH NOTHING BUT OPENSSL\n")
	require.True(t, found)
	section, _, found := strings.Cut(after, "\nWHAT IT PROVES")
	require.True(t, found)
	var commands []string
	for line := range strings.SplitSeq(section, "\n") {
		if command, ok := strings.CutPrefix(line, "    "); ok {
			commands = append(commands, command)
		}
	}
	require.Greater(t, len(commands), 30)
	return strings.Join(commands, "\n")
}

// TestByHand runs them on the countersigned bundle, and on the same with a byte
// altered in an entry, a blob and the checkpoint.
func TestByHand(t *testing.T) {
	script := byHand(t)
	good, err := os.ReadFile(folder + "/countersigned.zip")
	require.NoError(t, err)
	run := func(data []byte, flags string) (string, error) {
		dir := t.TempDir()
		require.NoError(t, os.WriteFile(filepath.Join(dir, "evidence.zip"), data, 0o600))
		cmd := exec.Command("sh", flags, script)
		cmd.Dir = dir
		out, err := cmd.CombinedOutput()
		return string(out), err
	}
	out, err := run(good, "-ec")
	require.NoError(t, err, out)
	assert.Equal(t, 3, strings.Count(out, "Signature Verified Successfully"), "entry, checkpoint, cosignature: "+out)
	assert.Contains(t, out, "s.okoro\n")
	assert.Contains(t, out, "SHA256:")
	assert.NotContains(t, out, "is another one")
	b, err := open(good)
	require.NoError(t, err)
	checkpoint, err := b.Checkpoint(t.Context(), origin)
	require.NoError(t, err)
	root := strings.Split(string(checkpoint), "\n")[2]
	assert.Equal(t, 2, strings.Count(out, root+"\n"), "computed, and stated: "+out)

	for name, altered := range map[string][]byte{
		"entry":      alter(t, good, "log-1/entries/000006", "", "201.6 k", "301.6 k"),
		"checkpoint": alter(t, good, "log-1/checkpoint", "", "\n15\n", "\n16\n"),
		"blob":       alter(t, good, "blobs/", "", "the plan", "the plot"),
	} {
		out, _ := run(altered, "-c")
		switch name {
		case "entry":
			assert.Equal(t, 2, strings.Count(out, "Signature Verified Successfully"), out)
			assert.Equal(t, 1, strings.Count(out, root+"\n"), "the root is another one: "+out)
		case "checkpoint":
			assert.Equal(t, 1, strings.Count(out, "Signature Verified Successfully"), "the entry's alone: "+out)
		case "blob":
			assert.Contains(t, out, "is another one")
		}
	}
}
