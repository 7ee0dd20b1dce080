package yamlfile_test

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/internal/diag"
	"hvproof/internal/yamlfile"
)

// car is the type that testdata/shape.txt is read into.
type car struct {
	Name        string             `yaml:"name" validate:"required"`
	Revision    yamlfile.Scalar    `yaml:"revision" validate:"required"`
	Capacitance *yamlfile.Scalar   `yaml:"capacitance"`
	Stage       yamlfile.Scalar    `yaml:"stage" validate:"omitempty,oneof=A B C"`
	Live        bool               `yaml:"live"`
	Series      int                `yaml:"series" validate:"min=1"`
	Packs       yamlfile.Map[pack] `yaml:"packs"`
	Points      []yamlfile.Scalar  `yaml:"points" validate:"min=1"`
	Extra       *yamlfile.Node     `yaml:"extra"`
	notes       `yaml:",inline"`
	Ignored     func()
}

type notes struct {
	Note string `yaml:"note" validate:"max=10"`
}

type pack struct {
	Cells string `yaml:"cells" validate:"required"`
	Path  string `yaml:"path"`
}

// chunks splits a file of testdata and takes the expected faults out: file
// texts, and for each its faults as "line:column: message; hint".
func chunks(t *testing.T, name string) (texts []string, faults [][]string) {
	b, err := os.ReadFile(filepath.Join("testdata", name))
	require.NoError(t, err)
	parts := strings.Split(string(b), "~~~~\n")
	for _, part := range parts[1:] {
		var text strings.Builder
		var want []string
		for i, line := range strings.Split(strings.TrimSuffix(part, "\n"), "\n") {
			pieces := strings.Split(line, "###")
			for _, piece := range pieces[1:] {
				column, message, ok := strings.Cut(strings.TrimSpace(piece), ": ")
				if piece = strings.TrimSpace(piece); piece == "0" {
					continue // keeps trailing spaces of the chunk visible
				}
				require.True(t, ok && strings.HasPrefix(message, `"`) && strings.HasSuffix(message, `"`), "%s: %s", name, line)
				at := fmt.Sprintf("%d:%s", i+1, column)
				if column == "0" {
					at = "0:0"
				}
				want = append(want, at+": "+message[1:len(message)-1])
			}
			if len(pieces) > 1 {
				line = strings.TrimRight(pieces[0], " ")
			}
			if len(pieces) == 1 || line != "" {
				text.WriteString(line + "\n")
			}
		}
		texts, faults = append(texts, text.String()), append(faults, want)
	}
	return texts, faults
}

func told(list diag.List) []string {
	var out []string
	for _, p := range list {
		text := fmt.Sprintf("%d:%d: %s", p.Line, p.Column, p.Message)
		if p.Hint != "" {
			text += "; " + p.Hint
		}
		out = append(out, text)
	}
	return out
}

func TestFaultsOfSyntax(t *testing.T) {
	texts, faults := chunks(t, "syntax.txt")
	require.Len(t, texts, 33)
	for i, text := range texts {
		require.NotEmpty(t, faults[i], text)
		_, list := yamlfile.Parse("f.yaml", []byte(text))
		assert.Equal(t, faults[i], told(list), text)
		checkProblems(t, text, list)
	}
}

func TestFaultsOfShape(t *testing.T) {
	texts, faults := chunks(t, "shape.txt")
	require.Len(t, texts, 7)
	for i, text := range texts {
		require.NotEmpty(t, faults[i], text)
		f, list := yamlfile.Parse("f.yaml", []byte(text))
		require.Empty(t, list, text)
		var c car
		list = f.Decode(&c)
		assert.Equal(t, faults[i], told(list), text)
		checkProblems(t, text, list)
	}
}

// checkProblems holds for every fault of every file: a place in the file, the
// source line with the caret, and no word of Go or of the library.
func checkProblems(t *testing.T, text string, list diag.List) {
	lines := strings.Split(text, "\n")
	for _, p := range list {
		assert.Equal(t, "f.yaml", p.File)
		assert.NotEmpty(t, p.Message)
		for _, word := range []string{"go-yaml", "yaml:", "libyaml", "unmarshal", "Unmarshal", "struct", "int64", "yamlfile.", "while scanning", "did not find"} {
			assert.NotContains(t, strings.ReplaceAll(p.Message+p.Hint, "f.yaml:", ""), word)
		}
		if p.Line > 0 && p.Line <= len(lines) && lines[p.Line-1] != "" && p.Severity == diag.Fault {
			assert.Equal(t, strings.TrimSuffix(lines[p.Line-1], "\r"), p.Source, p.Error())
			assert.NotEmpty(t, p.Excerpt(), p.Error())
		}
	}
	assert.True(t, slices.IsSortedFunc(list, func(a, b diag.Problem) int { return a.Line - b.Line }) || len(list) > 100)
}
