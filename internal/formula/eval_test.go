package formula

import (
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/internal/diag"
	"hvproof/internal/quantity"
)

// Plain arithmetic where no range is involved, ends taken as they are where no
// arithmetic is: the comparisons that rounding outward would break.
func TestEqualsAreDecided(t *testing.T) {
	env := newEnv(t, sandpiper)
	for _, text := range []string{
		"0.1 <= 0.1", "0.1 >= 0.1", "0.1 == 0.1", "0.1 + 0.2 > 0.3", "10 * 0.1 <= 1",
		"packs.left.path <= 3 mΩ", "packs.left.path >= 1.8 mΩ",
		"packs.left.path <= packs.left.path", "packs.left.path == packs.left.path",
		"2 * packs.left.path >= packs.left.path", "packs.left.path + packs.right.path > packs.right.path",
		"packs.left.path * packs.left.path / packs.left.path > 1.79 mΩ",
	} {
		r := eval(t, env, text)
		if assert.NotNil(t, r.Bool, text) {
			assert.True(t, *r.Bool, text)
		}
	}
	for _, text := range []string{"packs.left.path < packs.left.path", "0.1 < 0.1", "packs.left.path > 3 mΩ", "packs.left.path == 4 mΩ", "0.1 + 0.2 == 0.3"} {
		r := eval(t, env, text)
		if assert.NotNil(t, r.Bool, text) {
			assert.False(t, *r.Bool, text)
		}
	}
}

func TestUndecidedConditions(t *testing.T) {
	env := newEnv(t, sandpiper)
	for _, text := range []string{
		"packs.left.path > 2.4 mΩ", "packs.left.path == 2.4 mΩ", "!(packs.left.path > 2.4 mΩ)",
		"packs.left.path > 2.4 mΩ && 1 < 2", "packs.left.path > 2.4 mΩ || 2 < 1",
		"packs.left.path > 2.4 mΩ ? 1 < 2 : 2 < 1",
	} {
		r := eval(t, env, text)
		assert.True(t, r.IsBool)
		assert.Nil(t, r.Bool, text)
		assert.Equal(t, Outer, r.Exactness)
	}
	for text, want := range map[string]bool{
		"packs.left.path > 2.4 mΩ && 2 < 1": false, "2 < 1 && packs.left.path > 2.4 mΩ": false,
		"packs.left.path > 2.4 mΩ || 1 < 2": true, "packs.left.path > 2.4 mΩ ? 1 < 2 : 1 < 3": true,
	} {
		r := eval(t, env, text)
		require.NotNil(t, r.Bool, text)
		assert.Equal(t, want, *r.Bool, text)
	}
	// Both branches count.
	r := eval(t, env, "packs.left.path > 2.4 mΩ ? 1 V : 5 V")
	assert.Equal(t, []float64{1, 5, 5}, []float64{r.Lo, r.Nominal, r.Hi})
	assert.Equal(t, Outer, r.Exactness)
}

func TestInputsAndEnds(t *testing.T) {
	env := sandpiperEnv(t)
	r := eval(t, env, "(system.conductively_connected_ac ? 500 Ω/V : 100 Ω/V * count(packs)) * system.max_voltage + 0 * (has(pyro) ? 1 Ω : packs.left.path)")
	var names []string
	for _, in := range r.Inputs {
		names = append(names, in.Name)
	}
	assert.Equal(t, []string{"system.conductively_connected_ac", "packs.left.cells.series", "packs.left.cells.max",
		"packs.right.cells.series", "packs.right.cells.max", "has(pyro)"}, names, "what is used, and nothing else")
	assert.Equal(t, Input{Name: "system.conductively_connected_ac", Lo: 1, Nominal: 1, Hi: 1, IsBool: true}, r.Inputs[0])
	assert.Equal(t, Input{Name: "packs.left.cells.max", Lo: 4.2, Nominal: 4.2, Hi: 4.2, Dim: quantity.Volt}, r.Inputs[2])
	assert.Equal(t, Exact, r.Exactness)
	assert.Equal(t, quantity.Ohm, r.Dim)

	r = eval(t, env, "packs.right.total_resistance / (packs.left.total_resistance + packs.right.total_resistance)")
	assert.Equal(t, Corners, r.Exactness)
	assert.InDelta(t, 1.1e-3*1.2, r.LoAt["packs.left.cells.resistance"], 1e-12)
	assert.InDelta(t, 1.1e-3*0.8, r.LoAt["packs.right.cells.resistance"], 1e-12)
	assert.InDelta(t, 2.4e-3*0.75, r.HiAt["packs.left.path"], 1e-12)
	assert.InDelta(t, 3.9e-3*1.25, r.HiAt["packs.right.path"], 1e-12)
	assert.Equal(t, float64(96), r.HiAt["packs.left.cells.series"])
	assert.Len(t, r.LoAt, 8, sortedKeys(r.LoAt))

	f := compile(t, env, "has(heater.power) ? heater.power : 1 W")
	assert.Equal(t, []string{"heater.power"}, f.Uses())
	_, err := f.At(map[string]float64{"packs.left.path": 1})
	assert.ErrorContains(t, err, "packs.left.path is not used by")
}

func TestSubstituted(t *testing.T) {
	env := sandpiperEnv(t)
	for text, want := range map[string]string{
		"precharge.resistance * dc_link.capacitance":                              "(64.6 Ω … 71.4 Ω) * (918 µF … 1.122 mF)",
		"500 Ω/V * system.max_voltage":                                            "500 Ω/V * (403.2 V)",
		"(system.conductively_connected_ac ? 500 Ω/V : 100 Ω/V) * 1 V":            "500 Ω/V * 1 V",
		"sum(packs.*.capacity)":                                                   "sum(42 Ah, 21 Ah)",
		"precharge.tau":                                                           "(59.3 ms … 80.11 ms)",
		"has(drive.after_pack_lost) ? drive.after_pack_lost : count(packs) * 1 A": "2 * 1 A",
		"(has(drive.after_pack_lost) ? 1 A : 2 A - 1 A) * (has(packs.left) ? packs.left.path : 0 Ω)": "(2 A - 1 A) * (1.8 mΩ … 3 mΩ)",
		"has(drive.after_pack_lost) ? 1 A : has(packs.left) ? 3 A : 4 A":                             "3 A",
		"packs.left.path > 2 mΩ ? 1 V : 2 V":                                                         "(1.8 mΩ … 3 mΩ) > 2 mΩ ? 1 V : 2 V",
		"packs.left.cells.series * 1 V":                                                              "(96) * 1 V",
		"sum(packs.*.total_resistance)":                                                              "sum(44.04 mΩ … 66.36 mΩ, 87.4 mΩ … 131.6 mΩ)",
	} {
		r := eval(t, env, text)
		assert.Equal(t, want, r.Substituted)
		assert.Equal(t, text, r.Formula)
	}
	assert.Equal(t, "(2 A - drive.demand) * 3 + min(1 A, packs.left.peak_current)",
		eval(t, env, "(has(packs.left) ? 2 A - drive.demand : 1 A) * 3 + min(1 A, has(drive.after_pack_lost) ? 3 A : packs.left.peak_current)").Taken)
	many := &testEnv{vars: map[string]Var{}}
	for i := range 30 {
		v := quantity.Range{Lo: float64(i), Nominal: float64(i), Hi: float64(i)}
		many.set("a.b"+string(rune('a'+i/26))+string(rune('a'+i%26)), Var{Range: v})
	}
	assert.Equal(t, "sum(0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, … 18 more)", eval(t, many, "sum(a.*)").Substituted)
}

func TestErrorsNameTheInput(t *testing.T) {
	env := sandpiperEnv(t)
	_, err := compile(t, env, "1 A * heater.current").Eval()
	var absent *AbsentError
	require.ErrorAs(t, err, &absent)
	assert.Equal(t, "heater.power", absent.Name)
	assert.Equal(t, "heater.power in vehicle.yaml", absent.Where)

	f := compile(t, env, "1 / (packs.left.path - packs.right.path + 2 mΩ)")
	_, err = f.Eval()
	var domain *DomainError
	require.ErrorAs(t, err, &domain)
	assert.Equal(t, []string{"packs.left.path", "packs.right.path"}, domain.Inputs)
	assert.Equal(t, quantity.Ohm, domain.Dim)
	p := f.Problem(err)
	assert.Equal(t, diag.Place{File: "test.yaml", Line: 1, Column: 1}, p.Place)
	assert.Equal(t, utf8.RuneCountInString(f.Text()), p.Span)
}

func TestSizesAreBounded(t *testing.T) {
	env := sandpiperEnv(t)
	bad := func(text, message string) {
		f, problems := Compile(text, diag.Place{}, text, env, Want{Any: true, Bool: true})
		require.Nil(t, f)
		require.NotEmpty(t, problems)
		assert.Contains(t, problems[0].Message, message)
	}
	bad(strings.Repeat("1+", 1000)+"1", "formula of 2001 bytes; the longest is 2000")
	compile(t, env, strings.Repeat("1+", 999)+"1")
	for _, x := range []struct{ open, inner, shut string }{
		{"(", "1", ")"}, {"-", "1", ""}, {"!", "system.conductively_connected_ac", ""}, {"max(", "1", ")"}, {"1 < 2 ? 1 : ", "2", ""}, {"1 < 2 ? ", "1", " : 2"},
	} {
		compile(t, env, strings.Repeat(x.open, MaxDepth-1)+x.inner+strings.Repeat(x.shut, MaxDepth-1))
		bad(strings.Repeat(x.open, MaxDepth)+x.inner+strings.Repeat(x.shut, MaxDepth), "nested deeper than 64")
	}
	bad("", "empty formula")
	bad("  ", "empty formula")
	bad("1 \xff", "not valid UTF-8")
	bad("1 +\n2", "a formula stands on one line")

	// Derived values double the work at each step if written out.
	var defs []Definition
	def := func(name, text string) {
		defs = append(defs, Definition{Name: name, Text: text, Want: Want{Any: true}})
	}
	def("d.a0", "packs.left.path / 1 Ω + 1")
	for i := range 60 {
		def("d.a"+itoa(i+1), "(d.a"+itoa(i)+" + d.a"+itoa(i)+") / 2")
	}
	doubled, problems := Derive(env, defs)
	require.Empty(t, problems)
	r := eval(t, doubled, "d.a60")
	assert.InDelta(t, 1.0018, r.Lo, 1e-12)
	assert.InDelta(t, 1.003, r.Hi, 1e-12)
	assert.Equal(t, Corners, r.Exactness)

	many := &testEnv{vars: map[string]Var{}}
	for i := range 1500 {
		many.set("a.x"+itoa(i), Var{Range: quantity.Range{Lo: 1, Nominal: 2, Hi: 3}})
	}
	f, problems := Compile("sum(a.*)", diag.Place{}, "", many, Want{Any: true})
	require.Nil(t, f)
	assert.Contains(t, problems[0].Message, "1501 operations over 1500 values with a tolerance are too many")
	for i := range 3000 {
		many.set("b.x"+itoa(i), Var{Range: quantity.Range{Lo: 1, Nominal: 1, Hi: 1}})
	}
	f, problems = Compile("sum(a.*) + sum(b.*)", diag.Place{}, "", many, Want{Any: true})
	require.Nil(t, f)
	assert.Contains(t, problems[0].Message, "more than 4096 operations")
}

func itoa(i int) string {
	digits := "0123456789"
	if i < 10 {
		return digits[i : i+1]
	}
	return itoa(i/10) + digits[i%10:i%10+1]
}

func TestGrammar(t *testing.T) {
	g := Grammar()
	for _, fn := range functionNames {
		assert.Contains(t, g, " "+fn+"(", "every function is described")
	}
	assert.Contains(t, g, "Longest formula 2000 bytes, deepest nesting 64.")
	assert.True(t, strings.HasSuffix(g, "\n"))
}

// What a file can ask for in 2000 bytes ends in bounds that are wider, after a
// fixed amount of work.
func TestWorkIsBounded(t *testing.T) {
	env := &testEnv{vars: map[string]Var{}}
	for i := range 400 {
		env.set("a.x"+itoa(i), Var{Range: quantity.Range{Lo: -1, Hi: 2}})
	}
	products := "0"
	for i := range 9 {
		products += " + sum(a.*) * sum(a.*) * (a.x" + itoa(i) + " - 1)"
	}
	for _, text := range []string{products, strings.Repeat("abs(a.x1 - a.x2) * (a.x3 - a.x4) - ", 40) + "a.x1 * a.x1"} {
		f := compile(t, env, text)
		r := newRun(f.program)
		require.NoError(t, r.full(f.root))
		e := r.extent(f.root)
		assert.LessOrEqual(t, e.lo, e.hi)
		assert.Greater(t, r.work, -maxWork/4, "%s", text)
	}
}

func TestHasAndCount(t *testing.T) {
	env := sandpiperEnv(t)
	for text, want := range map[string]bool{
		"has(pyro)": true, "has(pyro.bridge)": true, "has(packs.left)": true, "has(precharge.tau)": true,
		"has(heater)": false, "has(heater.power)": false, "has(heater.current)": false, "has(drive.after_pack_lost)": false,
		"has(heater.power) && heater.power > 1 W": false, "!has(heater.power) || heater.power > 1 W": true,
		"count(packs) == 2": true, "count(packs.*.path) == 2": true, "count(shutdown) == 8": true, "count(heater) == 0": true,
		"count(contactors) == count(contactors.*.coil)": true,
	} {
		r := eval(t, env, text)
		require.NotNil(t, r.Bool, text)
		assert.Equal(t, want, *r.Bool, text)
	}
	assert.Equal(t, 1.0, eval(t, env, "has(heater) ? heater.power / 1 W : 1").Hi)
}
