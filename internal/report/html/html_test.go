package html

import (
	"bytes"
	"os"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func page(t testing.TB) (Page, []byte) {
	t.Helper()
	data, err := os.ReadFile("../../../testdata/bundles/good.zip")
	require.NoError(t, err)
	p := Page{Bundle: data, Version: "0.1.0", Run: "k3f9-5"}
	var b bytes.Buffer
	require.NoError(t, Write(&b, p))
	return p, b.Bytes()
}

func TestReadGivesWhatWasWritten(t *testing.T) {
	p, raw := page(t)
	got, err := Read(raw)
	require.NoError(t, err)
	assert.Equal(t, p, got)
	var again bytes.Buffer
	require.NoError(t, Write(&again, got))
	assert.Equal(t, raw, again.Bytes(), "the same bundle gives the same page")
	assert.Error(t, Write(&again, Page{Version: `"><script>`}), "nothing can become markup")
	assert.Error(t, Write(&again, Page{Run: "a b"}))
}

// TestEveryByte flips bytes all over the page: either it is no page any more,
// or what it would be made of gives another one.
func TestEveryByte(t *testing.T) {
	_, raw := page(t)
	b := bytes.Clone(raw)
	for at := 0; at < len(b); at += 11 {
		b[at] ^= 1
		if p, err := Read(b); err == nil {
			var again bytes.Buffer
			if Write(&again, p) == nil {
				require.False(t, bytes.Equal(again.Bytes(), b) && bytes.Equal(p.Bundle, mustRead(t, raw).Bundle) && p.Run == "k3f9-5" && p.Version == "0.1.0", "byte %d", at)
			}
		}
		b[at] = raw[at]
	}
}

func mustRead(t *testing.T, raw []byte) Page {
	t.Helper()
	p, err := Read(raw)
	require.NoError(t, err)
	return p
}

// TestNothingFromOutside: one file, no reference, no way from data to markup.
func TestNothingFromOutside(t *testing.T) {
	_, raw := page(t)
	text := string(raw)
	assert.NotRegexp(t, regexp.MustCompile(`(?i)(src|href)=|url\(|@import|https?://`), text)
	for _, way := range []string{"innerHTML", "outerHTML", "insertAdjacent", "document.write", "eval(", "new Function", "setAttribute"} {
		assert.NotContains(t, text, way)
	}
	assert.Equal(t, 1, strings.Count(text, "Content-Security-Policy"))
	assert.Contains(t, text, "default-src 'none'")
	assert.Contains(t, text, hash(text[strings.LastIndex(text, "<script>")+8:strings.LastIndex(text, "</script>")]), "the policy allows this script by its hash")
	assert.NotContains(t, text, "unsafe")
	assert.Equal(t, 2, strings.Count(text, "</script>"), "the script does not end early")
}

func FuzzRead(f *testing.F) {
	data, err := os.ReadFile("../../../testdata/bundles/good.zip")
	require.NoError(f, err)
	var b bytes.Buffer
	require.NoError(f, Write(&b, Page{Bundle: data, Version: "1", Run: ""}))
	f.Add(b.Bytes())
	f.Fuzz(func(t *testing.T, raw []byte) {
		if p, err := Read(raw); err == nil {
			require.NoError(t, Write(&bytes.Buffer{}, p))
		}
	})
}
