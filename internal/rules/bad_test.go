package rules_test

import (
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/internal/diag"
	"hvproof/internal/rules"
	"hvproof/internal/vehicle"
	"hvproof/internal/yamlfile"
)

// expectation finds what a line of a file of bad input expects: each text
// after ### is the beginning of a problem's "message; hint" in that line.
var (
	expectation = regexp.MustCompile(`###((?: +"[^"]*")+)$`)
	quoted      = regexp.MustCompile(`"([^"]*)"`)
)

const badCar = `format: 1
name: X
assessed_to: [bad]
packs: {left: {cells: {series: 96, max: 4.2 V}}}
fuses: {left: {}}
dc_link: {capacitance: 1.02 mF ±10%, bleed: 22 kΩ ±5%}
extra: {zero: 0 V ±1 V}
`

// TestBadInput reads testdata/bad.txt: rule sets, separated by lines of
// "----", in which every line that is at fault says so, with itself or with
// the car above. Every problem must be expected, and every expected one found.
func TestBadInput(t *testing.T) {
	b, err := os.ReadFile(filepath.Join("testdata", "bad.txt"))
	require.NoError(t, err)
	chunks := strings.Split(string(b), "----\n")
	require.GreaterOrEqual(t, len(chunks), 6)
	for i, chunk := range chunks {
		t.Run(fmt.Sprint(i+1), func(t *testing.T) {
			want := map[int][]string{}
			lines := strings.Split(chunk, "\n")
			for i, line := range lines {
				if m := expectation.FindStringSubmatch(line); m != nil {
					for _, q := range quoted.FindAllStringSubmatch(m[1], -1) {
						want[i+1] = append(want[i+1], q[1])
					}
				}
			}
			require.NotEmpty(t, want, "nothing is expected of this file")
			for _, p := range problemsOf(t, []byte(chunk)) {
				got := strings.ReplaceAll(p.Message+"; "+p.Hint, `"`, `'`)
				found := -1
				for i, w := range want[p.Line] {
					if strings.HasPrefix(got, w) {
						found = i
					}
				}
				if found < 0 {
					t.Errorf("line %d (%s)\nnot expected: %s", p.Line, lines[max(p.Line-1, 0)], got)
					continue
				}
				want[p.Line] = append(want[p.Line][:found], want[p.Line][found+1:]...)
			}
			for line, left := range want {
				assert.Empty(t, left, "line %d: expected and not reported", line)
			}
		})
	}
}

func fileOf(t testing.TB, text string) *yamlfile.File {
	t.Helper()
	f, problems := yamlfile.Parse("set.yaml", []byte(text))
	require.Empty(t, problems.String())
	return f
}

func problemsOf(t testing.TB, b []byte) diag.List {
	f, problems := yamlfile.Parse("set.yaml", b)
	if problems.Errors() {
		return problems
	}
	s, problems := rules.Parse(f)
	if problems.Errors() {
		return problems
	}
	_, problems = rules.NewBook([]*rules.Set{s}, carOf(t, badCar))
	return problems
}

// FuzzParse: no file makes Parse or NewBook panic, and no limit of an
// accepted file is lost.
func FuzzParse(f *testing.F) {
	files, err := filepath.Glob(filepath.Join("testdata", "*.yaml"))
	require.NoError(f, err)
	require.NotEmpty(f, files)
	for _, name := range files {
		b, err := os.ReadFile(name)
		require.NoError(f, err)
		f.Add(b)
	}
	f.Add([]byte(set("a", "at_least: extra.r, applies_if: has(pyro)")))
	carFile, _ := yamlfile.Parse("vehicle.yaml", []byte("format: 1\nname: X\nassessed_to: [a, workshop]\nextra: {r: 1 Ω ±10%}\n"))
	v, _ := vehicle.Parse(carFile)
	f.Fuzz(func(t *testing.T, b []byte) {
		file, _ := yamlfile.Parse("set.yaml", b)
		s, problems := rules.Parse(file)
		if problems.Errors() || s.ID != "a" && s.ID != "workshop" {
			return
		}
		book, problems := rules.NewBook([]*rules.Set{s}, v)
		if problems.Errors() {
			return
		}
		seen := map[string]bool{}
		for _, l := range book.All() {
			seen[l.ID] = true
		}
		for _, l := range s.Limits {
			if !seen[l.ID] {
				t.Fatalf("limit %s is not listed", l.ID)
			}
		}
	})
}
