package formula

import (
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/internal/diag"
)

// TestBadInput compiles every line of testdata/*.txt. A line is
//
//	FORMULA   ### COLUMN "MESSAGE" "HINT"
//
// with one more COLUMN "MESSAGE" "HINT" for each further fault, or with
// "### good" for a formula that must compile. "### eval "MESSAGE"" compiles
// but cannot be evaluated. Chunks are separated by lines of "---"; the first
// line of a chunk says what it wants: "want V", "want condition", "want any".
func TestBadInput(t *testing.T) {
	files, err := filepath.Glob("testdata/*.txt")
	require.NoError(t, err)
	require.Len(t, files, 4)
	lines := 0
	for _, file := range files {
		b, err := os.ReadFile(file)
		require.NoError(t, err)
		var want *Want
		for i, line := range strings.Split(string(b), "\n") {
			switch {
			case line == "---":
				want = nil
				continue
			case strings.HasPrefix(line, "#"), strings.TrimSpace(line) == "":
				continue
			case want == nil:
				w := wantOf(t, line)
				want = &w
				continue
			}
			lines++
			badLine(t, fmt.Sprintf("%s:%d", file, i+1), line, *want)
		}
	}
	require.Greater(t, lines, 120)
}

func wantOf(t *testing.T, line string) Want {
	word, ok := strings.CutPrefix(line, "want ")
	require.True(t, ok, line)
	switch word {
	case "any":
		return Want{Any: true, Bool: true}
	case "condition":
		return Want{Bool: true}
	}
	tokens, f := scan("1 " + word)
	require.Nil(t, f)
	return Want{Dim: tokens[0].value.Dim}
}

// badLine checks one line; its formula begins at column 9 of line 5.
func badLine(t *testing.T, place, line string, want Want) {
	text, expected, ok := strings.Cut(line, "###")
	require.True(t, ok, "%s: no expectation", place)
	text, expected = strings.TrimRight(text, " "), strings.TrimSpace(expected)
	f, problems := Compile(text, diag.Place{File: "shop.yaml", Line: 5, Column: 9}, "  limit: "+text, sandpiperEnv(t), want)
	if expected == "good" {
		assert.Empty(t, problems, place)
		return
	}
	if message, ok := strings.CutPrefix(expected, "eval "); ok {
		require.Empty(t, problems, place)
		_, err := f.Eval()
		require.Error(t, err, place)
		assert.Equal(t, message, strconv.Quote(err.Error()), place)
		p := f.Problem(err)
		assert.Equal(t, 9, p.Column, place)
		return
	}
	assert.Nil(t, f, place)
	var got []string
	for _, p := range problems {
		assert.Equal(t, diag.Fault, p.Severity)
		assert.Equal(t, "  limit: "+text, p.Source)
		got = append(got, strings.TrimRight(fmt.Sprintf("%d %q %s", p.Column-8, p.Message, quoted(p.Hint)), " "))
	}
	assert.Equal(t, expected, strings.Join(got, " "), place)
}

func quoted(hint string) string {
	if hint == "" {
		return ""
	}
	return strconv.Quote(hint)
}
