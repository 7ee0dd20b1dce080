//go:build outside

package pdf

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestTaggedOutside has poppler read the structure tree of a report, and the
// words of it in reading order.
func TestTaggedOutside(t *testing.T) {
	var b bytes.Buffer
	require.NoError(t, Write(&b, sample()))
	file := filepath.Join(t.TempDir(), "r.pdf")
	require.NoError(t, os.WriteFile(file, b.Bytes(), 0o600))
	read := func(args ...string) string {
		var said, complaint bytes.Buffer
		c := exec.Command("pdfinfo", append(args, file)...)
		c.Stdout, c.Stderr = &said, &complaint
		require.NoError(t, c.Run(), complaint.String())
		require.Empty(t, complaint.String())
		return said.String()
	}
	about := read()
	for _, want := range []string{"Title:           Test report: everything", "Tagged:          yes", "Suspects:        no", "PDF version:     1.7"} {
		assert.Contains(t, about, want)
	}
	words := read("-struct-text")
	at := 0
	for _, want := range []string{"Document", "Part", "H1 (block)", `"Test report: everything"`, "H2 (block)", `"Result"`, `"FAILED"`, "Lbl (block)", `"1."`, "LBody (block)", `"one"`,
		"H4 (block)", "loop_item.step_0", "H5 (block)", `"1st of 2 readings: FAIL"`, "τ ≤ 3 µs", "Figure", "main contactor closes, 100 ms", "Table", "TR", "TH", `"step"`, "TD", `"a"`, "P (block)", `"7"`} {
		i := strings.Index(words[at:], want)
		require.GreaterOrEqual(t, i, 0, "%q does not follow", want)
		at += i
	}
	assert.NotContains(t, words, "page 1 of", "heads and feet are for the eye alone")
}
