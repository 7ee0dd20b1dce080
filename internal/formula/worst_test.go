package formula

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// hard are formulas that are not monotone, have kinks or jumps, or use an
// input in several places, beside those of the demonstration cars.
const hardValues = `
a.x: 1..3
a.y: -2..2
a.z: 0.5..0.7
a.w: -1..1
a.v: 100 ±50%
a.exact: 2
r.a: 10 Ω ±10%
r.b: 20 Ω ±20%
r.c: 30 Ω ±30%
v.s: 9..15 V
c.on: true
`

var hard = []struct{ formula, exactness string }{
	{"a.x * a.x - 4 * a.x", Outer},
	{"a.y * a.y", Outer},
	{"a.y * a.y * a.y", Corners},
	{"abs(a.y)", Outer},
	{"abs(a.x)", Corners},
	{"a.x - a.x", Corners},
	{"a.x / a.x + a.y - a.y", Corners},
	{"(a.x - 2) * (a.y - 1) * (a.w + 0.5)", Outer},
	{"exp(-a.y * a.y) * a.x", Outer},
	{"ln(a.x + 2) - a.x / 3", Outer},
	{"sqrt(a.y * a.y + a.w * a.w)", Outer},
	{"sqrt(a.x * a.x + a.v * a.v)", Corners},
	{"min(a.x, a.y + 2, a.z * 3)", Corners},
	{"max(a.y, -a.y)", Outer},
	{"min(a.x, 2) + max(a.x, 2)", Corners},
	{"a.x > 2 ? a.x : -a.x", Outer},
	{"a.x > 2 ? a.y : a.y + 1", Outer},
	{"a.x > 5 ? a.x : 2 * a.x", Corners},
	{"a.y > 0 && a.w < 0 ? a.x : a.z", Outer},
	{"(a.y > 0 ? a.y : 0) + a.x", Outer},
	{"(a.y > 0) == (a.w > 0) ? a.x : a.z", Outer},
	{"a.x * exp(-a.x)", Outer}, // level at the very end of the range
	{"a.x * exp(-2 * a.x)", Corners},
	{"a.v * exp(-a.v / 40) - a.x", Corners},
	{"r.a * r.b / (r.a + r.b) - parallel(r.a, r.b)", Outer},
	{"v.s * r.a / (r.a + parallel(r.b, r.c)) - v.s / 10", Corners},
	{"share(r.a, r.b + r.c) + share(r.b, r.a + r.c) + share(r.c, r.a + r.b)", Outer},
	{"r.a / (r.a + r.b) + r.b / (r.b + r.c) + r.c / (r.c + r.a)", Outer},
	{"share(r.a, r.a)", Corners},
	{"(r.a + r.b) * (r.b + r.c) / (r.a + 2 * r.b + r.c)", Corners},
	{"v.s * v.s * r.a / ((r.a + r.b) * (r.a + r.b))", Corners},
	{"sum(r.*) - max(r.*) - min(r.*)", Corners},
	{"a.exact * 0.1", Exact},
	{"c.on ? a.exact : a.x", Exact},
}

// enclosed encloses the value of a program at one point: the exact value is
// inside, whatever the rounding. An undecided condition takes both branches.
func enclosed(p *program, root int32, in []float64) interval {
	val, truths := make([]interval, root+1), make([]truth, root+1)
	for i, n := range p.nodes[:root+1] {
		var x []interval
		for _, a := range n.args {
			x = append(x, val[a])
		}
		same := len(n.args) > 1 && n.args[0] == n.args[1]
		switch n.op {
		case opConst:
			val[i] = point(n.value)
		case opInput:
			val[i], truths[i] = point(in[n.input]), truthOf(in[n.input] != 0)
		case opCond:
			val[i], truths[i] = x[1].hull(x[2]), truths[n.args[1]]
			if t := truths[n.args[0]]; t == yes {
				val[i] = x[1]
			} else if t == no {
				val[i], truths[i] = x[2], truths[n.args[2]]
			}
		case opNot:
			truths[i] = truths[n.args[0]].not()
		case opAnd:
			truths[i] = both(truths[n.args[0]], truths[n.args[1]])
		case opOr:
			truths[i] = either(truths[n.args[0]], truths[n.args[1]])
		case opLess, opLessEqual, opEqual:
			truths[i] = decide(n.op, x[0], x[1], x[2], same)
		default:
			val[i] = outward(n.op, x, same)
		}
	}
	return val[root]
}

// draws checks that no draw of the inputs gives a value outside the result,
// and that the ends are reached where they are said to be. Where a formula
// cancels, float64 arithmetic at a draw can itself be wrong by more than the
// ends are rounded outward; strict wants even that inside.
func draws(t *testing.T, f *Formula, random *rand.Rand, n int, strict bool) {
	r, err := f.Eval()
	require.NoError(t, err, f.text)
	require.LessOrEqual(t, r.Lo, r.Nominal)
	require.LessOrEqual(t, r.Nominal, r.Hi)
	in := make([]float64, len(f.program.inputs))
	for range n {
		for i, x := range f.program.inputs {
			switch u := random.Float64(); { // the ends more often than chance has it
			case u < 0.1:
				in[i] = x.lo
			case u > 0.9:
				in[i] = x.hi
			default:
				in[i] = min(max(x.lo+random.Float64()*(x.hi-x.lo), x.lo), x.hi)
			}
		}
		v := enclosed(f.program, f.root, in)
		if v.hi < r.Lo || v.lo > r.Hi {
			require.Failf(t, "outside", "%s: %v outside %v … %v at %v", f.text, v, r.Lo, r.Hi, in)
		}
		if strict {
			v, err := f.program.plain(f.root, in)
			require.NoError(t, err, f.text)
			if v < r.Lo || v > r.Hi {
				require.Failf(t, "outside", "%s: %v outside %v … %v at %v", f.text, v, r.Lo, r.Hi, in)
			}
		}
	}
	near := func(want float64, at map[string]float64) {
		got, err := f.At(at)
		require.NoError(t, err)
		scale := math.Abs(r.Lo) + math.Abs(r.Hi)
		require.InDelta(t, want, got, 1e-13*scale+1e-300, f.text)
	}
	if r.Exactness != Outer {
		require.NotNil(t, r.LoAt, f.text)
		require.NotNil(t, r.HiAt, f.text)
	}
	if r.LoAt != nil {
		near(r.Lo, r.LoAt)
	}
	if r.HiAt != nil {
		near(r.Hi, r.HiAt)
	}
	if r.Exactness == Exact {
		require.Equal(t, r.Lo, r.Hi, f.text)
		require.Equal(t, r.Nominal, r.Hi, f.text)
	}
}

func TestTenThousandDrawsPerFormula(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 2))
	cars := map[string]Env{"sandpiper": sandpiperEnv(t), "bess": bessEnv(t)}
	for _, x := range figures {
		draws(t, compile(t, cars[x.car], x.formula), random, 10_000, true)
	}
	env := newEnv(t, hardValues)
	for _, x := range hard {
		f := compile(t, env, x.formula)
		draws(t, f, random, 10_000, false)
		r, err := f.Eval()
		require.NoError(t, err)
		assert.Equal(t, x.exactness, r.Exactness, "%s: %v … %v", x.formula, r.Lo, r.Hi)
	}
}

// Ends of formulas that are not monotone, worked out by hand.
func TestOuterEndsAreClose(t *testing.T) {
	env := newEnv(t, hardValues)
	for _, x := range []struct {
		formula string
		lo, hi  float64
	}{
		{"a.x * a.x - 4 * a.x", -4, -3},
		{"a.y * a.y", 0, 4},
		{"a.y * a.y - a.y", -0.25, 6},
		{"abs(a.y)", 0, 2},
		{"max(a.y, -a.y)", 0, 2},
		{"sqrt(a.y * a.y + a.w * a.w)", 0, math.Sqrt(5)},
		{"exp(-a.y * a.y) * a.x", math.Exp(-4), 3},
		{"a.x > 2 ? a.x : -a.x", -2, 3},
		{"a.x > 2 ? a.y : a.y + 1", -2, 3},
		{"ln(a.x + 2) - a.x / 3", math.Log(5) - 1, math.Log(3) - 1.0/3},
		{"share(r.a, r.a)", 0.5, 0.5},
	} {
		r := eval(t, env, x.formula)
		assert.InDelta(t, x.lo, r.Lo, 1e-6, x.formula)
		assert.InDelta(t, x.hi, r.Hi, 1e-6, x.formula)
	}
}

// expression draws a random formula over the values of hardValues in which
// every operation is in its domain; plain numbers only.
func expression(depth int) *rapid.Generator[string] {
	leaf := rapid.SampledFrom([]string{"a.x", "a.y", "a.z", "a.w", "a.v", "a.exact", "0.5", "3", "a.x", "r.a / r.b", "a.y"})
	if depth == 0 {
		return leaf
	}
	return rapid.Custom(func(t *rapid.T) string {
		sub := func() string { return expression(depth-1).Draw(t, "sub") }
		positive := func() string { return "(" + fmt.Sprintf("abs(%s) + 0.25", sub()) + ")" }
		switch rapid.IntRange(0, 13).Draw(t, "shape") {
		case 0:
			return "(" + sub() + " + " + sub() + ")"
		case 1:
			return "(" + sub() + " - " + sub() + ")"
		case 2:
			return sub() + " * " + sub()
		case 3:
			return "(" + sub() + " / " + positive() + ")"
		case 4:
			return "min(" + sub() + ", " + sub() + ")"
		case 5:
			return "max(" + sub() + ", " + sub() + ")"
		case 6:
			return "abs(" + sub() + ")"
		case 7:
			return "ln(" + positive() + ")"
		case 8:
			return "sqrt(" + positive() + ")"
		case 9:
			return "exp(max(-5, min(5, " + sub() + ")))"
		case 10:
			return "parallel(" + positive() + ", " + positive() + ")"
		case 11:
			return "share(" + positive() + ", " + positive() + ")"
		case 12:
			return "(" + sub() + " < " + sub() + " ? " + sub() + " : " + sub() + ")"
		}
		return leaf.Draw(t, "leaf")
	})
}

func TestNoDrawOutsideRandomFormulas(t *testing.T) {
	env := newEnv(t, hardValues)
	rapid.Check(t, func(rt *rapid.T) {
		text := expression(rapid.IntRange(1, 4).Draw(rt, "depth")).Draw(rt, "formula")
		if len(text) > MaxBytes {
			text = "a.x"
		}
		f := compile(t, env, text)
		random := rand.New(rand.NewPCG(rapid.Uint64().Draw(rt, "seed"), 1))
		draws(t, f, random, 200, false)
	})
}
