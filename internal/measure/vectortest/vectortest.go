// Package vectortest reads the published check values in testdata/vectors
// for tests.
//
// A file holds cases, separated by blank lines; a line is "name: value", and
// a line that begins with # is a comment. Every case has a case, a source
// (where the numbers or the formula stand) and a how: "read" (the numbers
// were read in the source), "formula" (the formula was, the numbers are
// computed from it), "memory" (formula from memory, unverified) or
// "calculated" (our own arithmetic, for consistency only).
package vectortest

import (
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"hvproof/internal/quantity"
)

// A Case is one check.
type Case struct {
	Name   string
	t      *testing.T
	fields map[string]string
	used   map[string]bool
}

// Run reads dir/name and runs every case as a subtest. It fails if the file
// holds another number of cases than want, if one lacks its source, or if a
// value of one was not looked at.
func Run(t *testing.T, dir, name string, want int, check func(t *testing.T, c *Case)) {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(dir, name))
	require.NoError(t, err)
	n := 0
	for chunk := range strings.SplitSeq(string(text), "\n\n") {
		fields := parse(t, chunk)
		if len(fields) == 0 {
			continue
		}
		n++
		t.Run(fields["case"], func(t *testing.T) {
			c := &Case{Name: fields["case"], t: t, fields: fields, used: map[string]bool{"case": true}}
			require.NotEmpty(t, c.Text("source"))
			require.Contains(t, []string{"read", "formula", "memory", "calculated"}, c.Text("how"))
			check(t, c)
			for key := range fields {
				require.True(t, c.used[key], "%s was not looked at", key)
			}
		})
	}
	require.Equal(t, want, n, "number of cases in %s", name)
}

func parse(t *testing.T, chunk string) map[string]string {
	t.Helper()
	fields := map[string]string{}
	for line := range strings.SplitSeq(chunk, "\n") {
		if line == "" || strings.HasPrefix(line, "#") {
			continue
		}
		key, value, ok := strings.Cut(line, ": ")
		require.True(t, ok, "line %q", line)
		require.NotContains(t, fields, key)
		fields[key] = strings.TrimSpace(value)
	}
	return fields
}

// Has reports whether the case has a value of that name.
func (c *Case) Has(key string) bool { return c.fields[key] != "" }

// Text gives a value as it stands, "" if the case has none.
func (c *Case) Text(key string) string {
	c.used[key] = true
	return c.fields[key]
}

// Quantity gives a value in SI; it must be there and of the dimension.
func (c *Case) Quantity(key string, dim quantity.Dim) float64 {
	c.t.Helper()
	v, err := quantity.Parse(c.Text(key))
	require.NoError(c.t, err, "%s: %q", key, c.fields[key])
	require.Equal(c.t, dim, v.Dim, "%s: %q", key, c.fields[key])
	return v.SI
}

// Number gives a plain number; it must be there.
func (c *Case) Number(key string) float64 {
	c.t.Helper()
	x, err := strconv.ParseFloat(c.Text(key), 64)
	require.NoError(c.t, err, "%s: %q", key, c.fields[key])
	return x
}
