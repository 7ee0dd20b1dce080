package yamlfile_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/internal/diag"
	"hvproof/internal/yamlfile"
)

func TestDecode(t *testing.T) {
	f := parse(t, `name: Sandpiper
revision: 1.10
stage: B
live: true
series: 96
note: short
packs:
  right: {cells: a, path: b}
  left: {cells: c}
points: [seat, 'left box']
extra: {b: 1, a: [2]}
`)
	var c car
	require.Empty(t, f.Decode(&c))
	assert.Equal(t, "Sandpiper", c.Name)
	assert.Equal(t, "1.10", c.Revision.Text)
	assert.True(t, c.Revision.Given())
	assert.Nil(t, c.Capacitance, "an absent key of pointer type")
	assert.True(t, c.Live)
	assert.Equal(t, 96, c.Series)
	assert.Equal(t, "short", c.Note, "inlined")

	require.Equal(t, 2, c.Packs.Len())
	assert.Equal(t, "right", c.Packs.Keys()[0].Text, "the order of the file")
	assert.Equal(t, diag.Place{File: "f.yaml", Line: 9, Column: 3}, c.Packs.Keys()[1].At)
	right, ok := c.Packs.Get("right")
	assert.True(t, ok)
	assert.Equal(t, pack{Cells: "a", Path: "b"}, right)
	_, ok = c.Packs.Get("middle")
	assert.False(t, ok)
	require.Len(t, c.Points, 2)
	assert.Equal(t, "left box", c.Points[1].Text)
	assert.Equal(t, 17, c.Points[1].At.Column)

	require.NotNil(t, c.Extra)
	assert.Equal(t, yamlfile.MapKind, c.Extra.Kind())
	assert.Equal(t, 11, c.Extra.Place().Line)
	assert.Equal(t, "b", c.Extra.Pairs()[0].Key.Text)
	a, ok := c.Extra.Get("a")
	require.True(t, ok)
	assert.Equal(t, yamlfile.ListKind, a.Kind())
	assert.Equal(t, "2", a.Items()[0].Text())
	assert.Equal(t, "", a.Text())

	// A part of the file, and types within types.
	var n yamlfile.Map[*yamlfile.Node]
	require.Empty(t, c.Extra.Decode(f, &n))
	assert.Equal(t, 2, n.Len())
	var deep struct {
		Extra yamlfile.Map[yamlfile.Scalar] `yaml:"extra"`
		Packs yamlfile.Map[*struct {
			Cells yamlfile.Scalar `yaml:"cells"`
			Path  yamlfile.Scalar `yaml:"path"`
		}] `yaml:"packs" validate:"required"`
	}
	list := f.Decode(&deep)
	left, _ := deep.Packs.Get("left")
	assert.Equal(t, "c", left.Cells.Text)
	assert.False(t, left.Path.Given())
	assert.Contains(t, list.String(), `f.yaml:11:18: "a" is a list where a text is expected`)
	assert.Contains(t, list.String(), `f.yaml:1:1: there is no key "name" here; keys here: extra, packs`)
}

func TestDecodeKeepsFirstOfDuplicates(t *testing.T) {
	f, list := yamlfile.Parse("f.yaml", []byte("a: 1\nb: 2\na: 3\n"))
	require.Len(t, list, 1)
	var m yamlfile.Map[string]
	require.Empty(t, f.Decode(&m))
	a, _ := m.Get("a")
	assert.Equal(t, "1", a)
	assert.Equal(t, 2, m.Len())
}

func TestShapeRules(t *testing.T) {
	var v struct {
		Length string                  `yaml:"length" validate:"len=3"`
		Unique []string                `yaml:"unique" validate:"unique"`
		Other  string                  `yaml:"other" validate:"alpha"`
		Map    yamlfile.Map[string]    `yaml:"map" validate:"max=1"`
		Word   *yamlfile.Scalar        `yaml:"word" validate:"omitempty,oneof=read memory"`
		Needed *yamlfile.Map[[]string] `yaml:"needed" validate:"required"`
	}
	f := parse(t, "length: ab\nunique: [a, a]\nother: a1\nmap: {a: b, c: d}\nword: raed\nneeded: {}\n")
	assert.Equal(t, []string{
		`1:9: "length" needs exactly 3 characters`,
		`2:1: "unique" holds something twice; delete one of the two`,
		`3:8: the value of "other" does not fit the rule alpha`,
		`4:1: "map" may have at most 1 key`,
		`5:7: "raed" is not one of read, memory; did you mean "read"?`,
		`6:1: the key "needed" is empty; write a value`,
	}, told(f.Decode(&v)))
}

// Faults of our own code are not faults of a file.
func TestDecodePanics(t *testing.T) {
	f := parse(t, "a: b\n")
	assert.Panics(t, func() { f.Decode(car{}) })
	assert.Panics(t, func() { f.Decode((*car)(nil)) })
	assert.Panics(t, func() {
		f.Decode(&struct {
			A float64 `yaml:"a"`
		}{})
	})
	assert.Panics(t, func() {
		f.Decode(&struct {
			A string `yaml:"a" validate:"nonsense"`
		}{})
	})
}
