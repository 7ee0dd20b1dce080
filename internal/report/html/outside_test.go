//go:build outside

package html

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/internal/bundle"
	"hvproof/internal/ledger/ledgertest"
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
  // RFC 4648: what it prints and nothing else, unused bits as zero.
  for (let n = 0; n < 100; n++) {
    const b = Uint8Array.from({length: n}, (_, i) => i * 37 + n & 255);
    if (hvproof.base64(b) !== Buffer.from(b).toString('base64')) throw new Error('base64 of ' + n);
    if (hvproof.hex(hvproof.unbase64(hvproof.base64(b))) !== hvproof.hex(b)) throw new Error('back from base64 of ' + n);
  }
  for (const t of ['A', 'AB', 'ABC', 'AB==\n', 'AB=', 'AB=C', 'A===', '====', 'AR==', 'ABD=', 'A-B_', 'AB\u0141A', ' AAA', 'AA==AAAA']) if (hvproof.unbase64(t) !== null) throw new Error('taken: ' + t);
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
	require.Equal(t, 53, len(sides))
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
			want[j.File] = strings.Split(code, ",")
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

// TestHostileNames opens a record whose car is called by markup, script and a
// character that turns the direction of reading: it is shown as text.
func TestHostileNames(t *testing.T) {
	m := ledgertest.NewMemory()
	l := ledgertest.Open(t, m, ledgertest.Origin)
	start := ledgertest.StartBody(t, ledgertest.Origin)
	for i := range start.Fields {
		if start.Fields[i].Name == "name" {
			start.Fields[i].Value = "<img src=x onerror=\"document.documentElement.dataset.owned='yes'\"></script><script>document.documentElement.dataset.owned='yes'</script>\u202Eelpmis"
		}
	}
	ledgertest.Append(t, l, start, ledgertest.Mills)
	const markup = "<svg onload=\"document.documentElement.dataset.owned='yes'\">\u202Eeton"
	note := ledgertest.NoteBody(markup)
	digest, err := m.PutBlob(t.Context(), []byte("a photograph"))
	require.NoError(t, err)
	note.Add("file", fmt.Sprintf("%x", digest))
	note.Add("name", "../"+markup+".png")
	ledgertest.Append(t, l, note, ledgertest.Mills)
	var packed, page bytes.Buffer
	require.NoError(t, bundle.Write(t.Context(), &packed, bundle.Contents{Storage: m, Origins: []string{ledgertest.Origin}, Made: time.Unix(1772528400, 0), Program: "hvproof test"}))
	require.NoError(t, Write(&page, Page{Bundle: packed.Bytes(), Version: "0.1.0", Remarks: []Remark{{Log: ledgertest.Origin, Code: "set-clock", Sentence: hostile}},
		Figures: []Figure{{Log: ledgertest.Origin, File: "ab", Chart: hostileChart(), Words: hostile}}}))
	file := filepath.Join(t.TempDir(), "page.html")
	require.NoError(t, os.WriteFile(file, page.Bytes(), 0o600))
	ctx, cancel := context.WithTimeout(t.Context(), 2*time.Minute)
	defer cancel()
	out, err := exec.CommandContext(ctx, "chromium", "--headless", "--no-sandbox", "--disable-gpu", "--user-data-dir="+t.TempDir(),
		"--virtual-time-budget=60000", "--dump-dom", "file://"+file).Output()
	require.NoError(t, err)
	assert.Contains(t, string(out), `data-answer="verified"`)
	assert.NotContains(t, string(out), "data-owned")
	assert.Contains(t, string(out), "&lt;img src=x")
	assert.Contains(t, string(out), `\u{202E}elpmis`)
	assert.NotContains(t, string(out), "<img")
	assert.NotContains(t, string(out), "<svg onload")
	assert.NotContains(t, string(out), "\u202E")
}
