//go:build outside

package bundle_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/internal/bundle"
	"hvproof/internal/ledger"
	"hvproof/internal/report/html"
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

// harness runs the second implementation, the page's script, on files under
// Node, and prints the codes of each.
const harness = `
const fs = require('fs');
(async () => {
  const out = [];
  for (const f of JSON.parse(fs.readFileSync(0, 'utf8'))) {
    const v = await hvproof.verify(new Uint8Array(fs.readFileSync(f)), knowledge, {});
    out.push(v.faults.map(x => x.code));
  }
  console.log(JSON.stringify(out));
})().catch(x => { console.error(x); process.exit(1); });
`

// TestNodeAgreesOnDamage changes bytes at random places of two bundles, mends
// the container, and holds the two implementations against each other: they
// have been written apart, and name the same faults in the same order.
func TestNodeAgreesOnDamage(t *testing.T) {
	random := rand.New(rand.NewPCG(6, 4))
	dir := t.TempDir()
	var files []string
	var want [][]ledger.Code
	for _, name := range []string{"countersigned", "handed-over"} {
		data, err := os.ReadFile(folder + "/" + name + ".zip")
		require.NoError(t, err)
		var sizes []int
		repack(t, data, func(_ string, d []byte) (string, []byte) { sizes = append(sizes, len(d)); return "", d })
		for range 150 {
			n := random.IntN(len(sizes))
			damaged := flipped(t, data, n, random.IntN(sizes[n]), byte(1+random.IntN(255)))
			file := filepath.Join(dir, fmt.Sprintf("%d.zip", len(files)))
			require.NoError(t, os.WriteFile(file, damaged, 0o600))
			files, want = append(files, file), append(want, append([]ledger.Code{}, verify(t, damaged, nil, false)...))
		}
	}
	script := filepath.Join(dir, "verify.cjs")
	require.NoError(t, os.WriteFile(script, []byte(html.VerifyScript()+"\nconst knowledge = "+string(html.Schema())+";\n"+harness), 0o600))
	input, err := json.Marshal(files)
	require.NoError(t, err)
	node := exec.Command("node", script)
	node.Stdin = bytes.NewReader(input)
	node.Stderr = os.Stderr
	out, err := node.Output()
	require.NoError(t, err)
	var got [][]ledger.Code
	require.NoError(t, json.Unmarshal(out, &got))
	require.Len(t, got, len(want))
	different := map[string]bool{}
	for i := range want {
		assert.Equal(t, want[i], got[i], "%s", files[i])
		different[fmt.Sprint(want[i])] = true
	}
	assert.Greater(t, len(different), 8, "the damage is of many kinds: %v", different)
}
