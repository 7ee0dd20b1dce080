package procedure

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/internal/plan"
	"hvproof/internal/yamlfile"
)

// FuzzParse: no file makes the program fail; what is planned can be printed,
// read back, and has every path once.
func FuzzParse(f *testing.F) {
	fx := load(f, read(f, "car.yaml"))
	f.Add(read(f, "good.yaml"))
	f.Add(read(f, "prove_dead.yaml"))
	for _, chunk := range strings.Split(string(read(f, "bad.txt")), "---\n") {
		f.Add([]byte(chunk))
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		file, _ := yamlfile.Parse("p.yaml", text)
		p, problems := Parse(file)
		if p == nil {
			require.True(t, problems.Errors())
			return
		}
		l, _ := NewLibrary([]*Procedure{p, fx.block}, fx.texts)
		l.Check(fx.car, fx.book)
		if p.Block {
			return
		}
		got, problems := l.Plan(p.ID, fx.car, fx.book, nil, false)
		require.Equal(t, got == nil, problems.Errors())
		if got == nil {
			return
		}
		printed, err := plan.Marshal(got)
		require.NoError(t, err)
		back, err := plan.Parse(printed)
		require.NoError(t, err)
		assert.Equal(t, got, back)
		paths := map[string]bool{}
		for _, s := range got.Steps {
			assert.False(t, paths[s.Path], s.Path)
			paths[s.Path] = true
		}
	})
}
