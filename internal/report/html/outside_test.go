//go:build outside

package html

import (
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// harness runs the page's verifier under Node on bundles, without the page.
const harness = `
const fs = require('fs');
(async () => {
  if (!await hvproof.supported()) throw new Error('no Ed25519');
  // FIPS 180-4 examples, and a length at each border of a block.
  const {createHash} = require('crypto');
  for (const n of [0, 3, 55, 56, 63, 64, 65, 119, 120, 1000, 9000]) {
    const b = new Uint8Array(n).fill(97);
    if (hvproof.hex(hvproof.sha256(b)) !== createHash('sha256').update(b).digest('hex')) throw new Error('SHA-256 of ' + n);
  }
  const numbers = {'1e21': '1000000000000000000000', '1e-7': '0.0000001', '1.5e-9': '0.0000000015', '-2.5e22': '-25000000000000000000000', '0.1': '0.1', '-0': '0'};
  for (const [x, want] of Object.entries(numbers)) if (hvproof.formatNumber(Number(x)) !== want) throw new Error(x);
  const out = {};
  for (const c of JSON.parse(fs.readFileSync(0, 'utf8'))) {
    const options = {evidence: c.evidence};
    if (c.older) options.older = new Uint8Array(fs.readFileSync(c.older));
    const v = await hvproof.verify(new Uint8Array(fs.readFileSync(c.file)), knowledge, options);
    out[c.file] = v.faults.map(f => f.code);
  }
  console.log(JSON.stringify(out));
})().catch(x => { console.error(x); process.exit(1); });
`

// TestNodeAgrees holds the second implementation against what every bundle of
// testdata/bundles was made for, code by code; bundle's own tests hold the
// first one against the same.
func TestNodeAgrees(t *testing.T) {
	type job struct {
		File     string `json:"file"`
		Older    string `json:"older,omitempty"`
		Evidence bool   `json:"evidence"`
	}
	const folder = "../../../testdata/bundles/"
	sides, err := filepath.Glob(folder + "*.expect")
	require.NoError(t, err)
	require.Equal(t, 45, len(sides))
	var jobs []job
	want := map[string][]string{}
	for _, s := range sides {
		text, err := os.ReadFile(s)
		require.NoError(t, err)
		lines := strings.Split(string(text), "\n")
		j := job{File: strings.TrimSuffix(s, ".expect") + ".zip"}
		for _, l := range lines[1:] {
			if name, ok := strings.CutPrefix(l, "against: "); ok {
				j.Older = folder + name
			}
			j.Evidence = j.Evidence || l == "evidence: yes"
		}
		want[j.File] = []string{}
		if code := strings.TrimPrefix(lines[0], "expect: "); code != "none" {
			want[j.File] = []string{code}
		}
		jobs = append(jobs, j)
	}
	input, err := json.Marshal(jobs)
	require.NoError(t, err)
	script := filepath.Join(t.TempDir(), "verify.cjs")
	require.NoError(t, os.WriteFile(script, []byte(VerifyScript()+"\nconst knowledge = "+string(Schema())+";\n"+harness), 0o600))
	node := exec.Command("node", script)
	node.Stdin = strings.NewReader(string(input))
	node.Stderr = os.Stderr
	out, err := node.Output()
	require.NoError(t, err)
	var got map[string][]string
	require.NoError(t, json.Unmarshal(out, &got))
	assert.Equal(t, want, got)
}
