package procedure

import (
	"os"
	"testing"

	"github.com/stretchr/testify/require"

	"hvproof/internal/rules"
	"hvproof/internal/vehicle"
	"hvproof/internal/yamlfile"
)

// fixture is a car with its rule book, and the files that go with it.
type fixture struct {
	car   *vehicle.Vehicle
	book  *rules.Book
	texts *Texts
	block *Procedure
}

func read(t testing.TB, name string) []byte {
	b, err := os.ReadFile("testdata/" + name)
	require.NoError(t, err)
	require.NotEmpty(t, b)
	return b
}

func load(t testing.TB, carText []byte) fixture {
	var fx fixture
	f, problems := yamlfile.Parse("vehicle.yaml", carText)
	require.Empty(t, problems)
	fx.car, problems = vehicle.Parse(f)
	require.False(t, problems.Errors(), "%s", problems)
	f, problems = yamlfile.Parse("rules/book.yaml", read(t, "rules.yaml"))
	require.Empty(t, problems)
	set, problems := rules.Parse(f)
	require.Empty(t, problems)
	fx.book, problems = rules.NewBook([]*rules.Set{set}, fx.car)
	require.False(t, problems.Errors(), "%s", problems)
	f, problems = yamlfile.Parse("cautions.yaml", read(t, "cautions.yaml"))
	require.Empty(t, problems)
	fx.texts, problems = ParseTexts(f)
	require.Empty(t, problems)
	fx.block = parse(t, string(read(t, "prove_dead.yaml")))
	return fx
}

// parse reads a procedure that has no fault.
func parse(t testing.TB, text string) *Procedure {
	f, problems := yamlfile.Parse("p.yaml", []byte(text))
	require.Empty(t, problems)
	p, problems := Parse(f)
	require.False(t, problems.Errors(), "%s", problems)
	return p
}

// library puts procedures together with the block of the fixture.
func (fx fixture) library(t testing.TB, procedures ...*Procedure) *Library {
	l, problems := NewLibrary(append(procedures, fx.block), fx.texts)
	require.Empty(t, problems)
	return l
}
