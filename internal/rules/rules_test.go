package rules_test

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/internal/diag"
	"hvproof/internal/rules"
	"hvproof/internal/vehicle"
	"hvproof/internal/yamlfile"
)

func readFile(t testing.TB, path ...string) *yamlfile.File {
	t.Helper()
	b, err := os.ReadFile(filepath.Join(path...))
	require.NoError(t, err)
	f, problems := yamlfile.Parse(filepath.Base(path[len(path)-1]), b)
	require.Empty(t, problems.String())
	return f
}

// car reads one of the test cars.
func car(t testing.TB, file string) *vehicle.Vehicle {
	t.Helper()
	v, problems := vehicle.Parse(readFile(t, "..", "..", "testdata", "cars", file))
	require.Empty(t, problems.String())
	return v
}

// carOf reads a vehicle written in a test.
func carOf(t testing.TB, text string) *vehicle.Vehicle {
	t.Helper()
	f, problems := yamlfile.Parse("vehicle.yaml", []byte(text))
	require.Empty(t, problems.String())
	v, problems := vehicle.Parse(f)
	require.False(t, problems.Errors(), problems.String())
	return v
}

// setOf reads a rule set written in a test.
func setOf(t testing.TB, text string) *rules.Set {
	t.Helper()
	f, problems := yamlfile.Parse("set.yaml", []byte(text))
	require.Empty(t, problems.String())
	s, problems := rules.Parse(f)
	require.Empty(t, problems.String())
	return s
}

// testSets are the rule sets of testdata: what the test cars are assessed to.
func testSets(t testing.TB) []*rules.Set {
	t.Helper()
	var out []*rules.Set
	for _, name := range []string{"un_r100.yaml", "workshop.yaml"} {
		s, problems := rules.Parse(readFile(t, "testdata", name))
		require.Empty(t, problems.String())
		out = append(out, s)
	}
	return out
}

func bookOf(t testing.TB, v *vehicle.Vehicle, sets ...*rules.Set) *rules.Book {
	t.Helper()
	b, problems := rules.NewBook(sets, v)
	require.Empty(t, problems.String())
	return b
}

func TestParseGivesWhatIsWritten(t *testing.T) {
	s := testSets(t)[0]
	assert.Equal(t, "un-r100", s.ID)
	assert.Equal(t, "revision 2", s.Edition)
	require.NotEmpty(t, s.Limits)
	l := s.Limits[0]
	assert.Equal(t, "isolation_whole", l.ID)
	assert.Equal(t, "two-voltage", l.Method)
	assert.Equal(t, rules.Read, l.Status)
	assert.Equal(t, diag.Place{File: "un_r100.yaml", Line: 8, Column: 3}, l.At)
}
