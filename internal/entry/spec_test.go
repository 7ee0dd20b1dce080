package entry_test

import (
	"crypto/ed25519"
	"encoding/base64"
	"fmt"
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/internal/entry"
)

// example cuts the first indented block out of the specification.
func example() (note string) {
	_, rest, _ := strings.Cut(entry.Specification(), "This is a whole one:\n\n")
	block, _, _ := strings.Cut(rest, "\n\nThe first part")
	for line := range strings.SplitSeq(block, "\n") {
		note += strings.TrimPrefix(line, "    ") + "\n"
	}
	return note
}

func ExampleParse() {
	text, signature, _ := strings.Cut(example(), "\n\n")
	e, err := entry.Parse([]byte(text + "\n"))
	if err != nil {
		fmt.Println(err)
		return
	}
	value, _ := e.Number("value")
	fmt.Println(e.Index, e.Kind, e.Run, e.Path, value, e.Text("unit"))
	fmt.Printf("%q\n", e.Family("finding"))
	again, err := entry.Marshal(e)
	fmt.Println(string(again), err)
	fmt.Print(signature)
	// Output:
	// 6 reading k3f9-5 whole.minus 4.54e+07 Ω
	// ["far above the window:\n12 MΩ to 30 MΩ were expected"]
	// hvproof entry 1
	// origin: hvproof/sandpiper/bench-1/k3f9
	// index: 6
	// root: drTKY5GSdQ0Pw1vCkIouken28EabxjmpEipm9riitBI=
	// kind: reading
	// time: 2026-03-01T08:00:07.000000000Z
	// zone: +01:00
	// uptime: 12.5
	// boot: boot-1
	// version: v0.1.0
	// run: k3f9-5
	// path: whole.minus
	// attempt: 1
	// text: 45.4 M
	// value: 45400000
	// unit: Ω
	// u: 2770000
	// digit: 100000
	// instrument: meter-2
	// function: isolation
	// range: 0
	// decision: pass
	// rule: guard_band
	// result 1: pass at least 201.6 kΩ
	// finding 1: far above the window:\n12 MΩ to 30 MΩ were expected
	//  <nil>
	// — s.okoro rRkk6eTZjzuHLSBUozoKKDeOuZmlAw2BuEChhIdcEmfO4mMKz1ILA/E1vkd0NVAsFBVZOuqke3qaADNh5s82ln4Z+Qk=
}

// TestSpecificationExample verifies the signature of the example with the key
// that the specification prints, and that the package comment has the same.
func TestSpecificationExample(t *testing.T) {
	text, line, _ := strings.Cut(example(), "\n\n")
	encoded := strings.TrimSuffix(strings.TrimPrefix(line, "— s.okoro "), "\n")
	sig, err := base64.StdEncoding.DecodeString(encoded)
	require.NoError(t, err)
	_, rest, found := strings.Cut(entry.Specification(), "    s.okoro+ad1924e9+")
	require.True(t, found)
	key, err := base64.StdEncoding.DecodeString(rest[:44])
	require.NoError(t, err)
	assert.True(t, ed25519.Verify(key[1:], []byte(text+"\n"), sig[4:]))

	doc, err := os.ReadFile("doc.go")
	require.NoError(t, err)
	for line := range strings.SplitSeq(strings.TrimSuffix(example(), "\n"), "\n") {
		assert.Contains(t, string(doc), strings.TrimRight("//\t"+line, "\t")+"\n")
	}
}

func TestSpecificationListsAllKinds(t *testing.T) {
	spec := entry.Specification()
	kinds := entry.Kinds()
	assert.Greater(t, len(kinds), 30)
	for _, k := range kinds {
		fields, ok := entry.Schema(k)
		assert.True(t, ok, k)
		assert.Contains(t, spec, "\n"+string(k)+"\n")
		seen := map[string]bool{"origin": true, "index": true, "root": true, "kind": true, "time": true,
			"zone": true, "uptime": true, "boot": true, "version": true, "path": true}
		for _, f := range fields {
			assert.Regexp(t, `^[a-z]+(-[a-z]+)*$`, f.Name)
			assert.False(t, seen[f.Name], "%s: %s is a header field, or twice", k, f.Name)
			assert.False(t, f.Name == "run" && f.Need != entry.Numbered, "%s: run is a header field", k)
			assert.Equal(t, f.Type == entry.Word, len(f.Words) > 0)
			seen[f.Name] = true
		}
	}
}

func TestConfirms(t *testing.T) {
	for _, k := range []entry.Kind{entry.Accept, entry.Witness, entry.Release, entry.Countersign, entry.ItemClose,
		entry.Disposition, entry.PermitEnd} {
		assert.True(t, entry.Confirms(k), k)
	}
	for _, k := range []entry.Kind{entry.Start, entry.Note, entry.Nonconformance, entry.Reading, "dance"} {
		assert.False(t, entry.Confirms(k), k)
	}
}
