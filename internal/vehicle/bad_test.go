package vehicle_test

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
	"hvproof/internal/vehicle"
	"hvproof/internal/yamlfile"
)

// expectation finds what a line of a file of bad input expects: each text
// after ### is the beginning of a problem's "severity: message; hint" in that
// line.
var (
	expectation = regexp.MustCompile(`###((?: +"[^"]*")+)$`)
	quoted      = regexp.MustCompile(`"([^"]*)"`)
)

// TestBadInput reads testdata/bad*.txt: vehicle files, separated by lines of
// "----", in which every line that is at fault says so. Every problem must be
// expected, and every expected one found.
func TestBadInput(t *testing.T) {
	files, err := filepath.Glob(filepath.Join("testdata", "bad*.txt"))
	require.NoError(t, err)
	require.NotEmpty(t, files)
	chunks := 0
	for _, file := range files {
		b, err := os.ReadFile(file)
		require.NoError(t, err)
		for i, chunk := range strings.Split(string(b), "----\n") {
			chunks++
			t.Run(fmt.Sprintf("%s/%d", filepath.Base(file), i+1), func(t *testing.T) { checkChunk(t, chunk) })
		}
	}
	assert.GreaterOrEqual(t, chunks, 20)
}

func checkChunk(t *testing.T, chunk string) {
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
	for _, p := range problemsOf([]byte(chunk)) {
		got := fmt.Sprintf("%s: %s; %s", p.Severity, strings.ReplaceAll(p.Message, `"`, `'`), strings.ReplaceAll(p.Hint, `"`, `'`))
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
}

func problemsOf(b []byte) diag.List {
	f, problems := yamlfile.Parse("vehicle.yaml", b)
	if problems.Errors() {
		return problems
	}
	_, problems = vehicle.Parse(f)
	return problems
}

// FuzzParse: no file makes Parse panic, and what it accepts can be used.
func FuzzParse(f *testing.F) {
	cars, err := filepath.Glob(filepath.Join("..", "..", "testdata", "cars", "*.yaml"))
	require.NoError(f, err)
	require.NotEmpty(f, cars)
	for _, c := range cars {
		b, err := os.ReadFile(c)
		require.NoError(f, err)
		f.Add(b)
	}
	f.Add([]byte("format: 1\nname: X\nextra: {a: 1 V, b: 0 A}\nisolation: {parts: [a, b]}\n"))
	f.Add([]byte("format: 1\nname: X\nshutdown: {a: {opens: []}}\ncontactors: {b: {}}\n"))
	f.Fuzz(func(t *testing.T, b []byte) {
		file, _ := yamlfile.Parse("vehicle.yaml", b)
		v, problems := vehicle.Parse(file)
		if v == nil {
			t.Fatal("no vehicle")
		}
		if problems.Errors() {
			return
		}
		names := v.Env().Names()
		for _, n := range names {
			if _, ok := v.Env().Resolve(n); !ok {
				t.Fatalf("%q is listed and not known", n)
			}
		}
		for _, d := range v.Derived() {
			if r, err := v.DerivedValue(d.Name); err == nil && !(r.Lo <= r.Nominal && r.Nominal <= r.Hi) {
				t.Fatalf("%s: %v", d.Name, r)
			}
		}
	})
}
