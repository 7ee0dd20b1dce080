package formula

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/internal/diag"
)

func TestBind(t *testing.T) {
	base := sandpiperEnv(t)
	env := Bind(base, map[string]Item{
		"device": {"shutdown", "outside_right"}, "contactor": {"contactors", "left_plus"}, "pack": {"packs", "left"},
	})
	same := func(bound, plain string) {
		assert.Equal(t, eval(t, base, plain).Hi, eval(t, env, bound).Hi, bound)
		assert.Equal(t, eval(t, base, plain).Bool, eval(t, env, bound).Bool, bound)
	}
	same("device.wire", "shutdown.outside_right.wire")
	same("device.opens.contactor", "shutdown.outside_right.opens.left_plus")
	same("contactor.coil", "contactors.left_plus.coil")
	same("pack.total_resistance", "packs.left.total_resistance")
	same("packs.pack.path", "packs.left.path")
	same("has(device) ? 1 : 0", "1")
	assert.Equal(t, 0.0, eval(t, env, "contactor.coil - contactors.left_plus.coil").Hi, "one path is one value")
	assert.Equal(t, "shutdown.outside_right.wire", eval(t, env, "device.wire").Inputs[0].Name)

	_, problems := Compile("device.wir", diag.Place{}, "", env, Want{Any: true})
	require.Len(t, problems, 1)
	assert.Equal(t, "did you mean device.wire?", problems[0].Hint)
	assert.Equal(t, base, Bind(base, nil))
}

func TestDerive(t *testing.T) {
	base := newEnv(t, sandpiper)
	at := func(line int) diag.Place { return diag.Place{File: "derived.yaml", Line: line, Column: 3} }
	_, problems := Derive(base, []Definition{
		{Name: "d.a", Text: "d.b + 1 V", At: at(1), Want: Want{Any: true}},
		{Name: "d.b", Text: "d.c * 2", At: at(2), Want: Want{Any: true}},
		{Name: "d.c", Text: "d.a", At: at(3), Want: Want{Any: true}},
		{Name: "d.self", Text: "d.self", At: at(4), Want: Want{Any: true}},
		{Name: "d.bad", Text: "packs.left.pth", At: at(5), Want: Want{Any: true}},
		{Name: "d.bad", Text: "1", At: at(6), Want: Want{Any: true}},
	})
	var got []string
	for _, p := range problems {
		got = append(got, p.Error())
	}
	assert.Contains(t, got, "derived.yaml:1:3: d.a leads back to itself: d.a, d.b, d.c, d.a")
	assert.Contains(t, got, "derived.yaml:4:3: d.self leads back to itself: d.self, d.self")
	assert.Contains(t, got, "derived.yaml:5:3: unknown value \"packs.left.pth\"; did you mean packs.left.path?")
	assert.Contains(t, got, "derived.yaml:6:3: d.bad is defined twice")

	env, problems := Derive(base, []Definition{
		{Name: "d.late", Text: "d.early * 2", Want: Want{Any: true}},
		{Name: "d.early", Text: "packs.left.path", Want: Want{Any: true}},
		{Name: "d.on", Text: "d.early > 1 Ω", Want: Want{Bool: true}},
	})
	require.Empty(t, problems)
	assert.Equal(t, []float64{0, 0}, []float64{eval(t, env, "d.late - 2 * packs.left.path").Lo, eval(t, env, "d.late - 2 * packs.left.path").Hi})
	assert.False(t, *eval(t, env, "d.on").Bool)
	assert.Equal(t, []string{"d.late", "d.early", "d.on"}, env.Match("d.*"))
}

// An Env that contradicts itself is found out, not believed.
func TestFaultyEnv(t *testing.T) {
	env := newEnv(t, sandpiper)
	v := env.vars["packs.left.path"]
	double := v
	double.Range.Hi *= 2
	env.vars["packs.right.path"] = double // says it is packs.left.path
	bad := func(text, message string) {
		f, problems := Compile(text, diag.Place{}, "", env, Want{Any: true})
		require.Nil(t, f)
		require.Len(t, problems, 1)
		assert.Equal(t, message, problems[0].Message)
	}
	bad("packs.left.path + packs.right.path", "packs.left.path has two different values in one formula")
	v.Range.Lo, v.Range.Hi = v.Range.Hi, v.Range.Lo
	env.vars["packs.left.path"] = v
	bad("packs.left.path", "the range of packs.left.path is not lowest <= nominal <= highest")
}
