package formula

import (
	"errors"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/require"

	"hvproof/internal/diag"
)

// FuzzCompile feeds any text: it must end in a formula or in problems with a
// place inside the text, and a formula in an ordered, finite result or an
// error of its own kinds.
func FuzzCompile(f *testing.F) {
	for _, x := range figures {
		f.Add(x.formula)
	}
	for _, x := range hard {
		f.Add(strings.ReplaceAll(x.formula, "a.x", "packs.left.path"))
	}
	files, err := filepath.Glob("testdata/*.txt")
	require.NoError(f, err)
	require.NotEmpty(f, files)
	for _, file := range files {
		b, err := os.ReadFile(file)
		require.NoError(f, err)
		for _, line := range strings.Split(string(b), "\n") {
			text, _, _ := strings.Cut(line, "###")
			f.Add(strings.TrimSpace(text))
		}
	}
	env := sandpiperEnv(f)
	f.Fuzz(func(t *testing.T, text string) {
		at := diag.Place{File: "f.yaml", Line: 1, Column: 1}
		formula, problems := Compile(text, at, text, env, Want{Any: true, Bool: true})
		if (formula == nil) == (len(problems) == 0) {
			t.Fatal("neither a formula nor a problem, or both")
		}
		for _, p := range problems {
			if p.Column < 1 || p.Column+p.Span-1 > utf8.RuneCountInString(text)+1 || p.Message == "" {
				t.Fatalf("place outside the text: %+v", p)
			}
		}
		if formula == nil {
			return
		}
		r, err := formula.Eval()
		if err != nil {
			var absent *AbsentError
			var domain *DomainError
			if !errors.As(err, &absent) && !errors.As(err, &domain) {
				t.Fatal(err)
			}
			return
		}
		if !r.IsBool && !(r.Lo <= r.Nominal && r.Nominal <= r.Hi && !math.IsInf(r.Lo, 0) && !math.IsInf(r.Hi, 0)) {
			t.Fatalf("%v … %v … %v", r.Lo, r.Nominal, r.Hi)
		}
	})
}
