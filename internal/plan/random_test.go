package plan

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"hvproof/internal/can"
	"hvproof/internal/measure"
	"hvproof/internal/quantity"
)

func nan() float64 { return math.NaN() }
func inf() float64 { return math.Inf(1) }

func TestCodecIsIdentity(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		want := drawPlan(t)
		text, err := Marshal(want)
		require.NoError(t, err)
		got, err := Parse(text)
		require.NoError(t, err)
		assert.Equal(t, want, got)
	})
}

func FuzzParse(f *testing.F) {
	text, err := Marshal(small())
	require.NoError(f, err)
	f.Add(text)
	f.Add([]byte(firstLine + "\n" + lastLine + "\n"))
	f.Add([]byte(strings.Replace(string(text), "at_least", "between", 1)))
	f.Fuzz(func(t *testing.T, text []byte) {
		p, err := Parse(text)
		if err != nil {
			return
		}
		again, err := Marshal(p)
		require.NoError(t, err)
		assert.Equal(t, string(text), string(again))
	})
}

var (
	drawText   = rapid.StringMatching(`[ -~äΩ\n\t\\\x{202e}\x{feff}]{1,12}`)
	drawMaybe  = rapid.OneOf(rapid.Just(""), drawText)
	drawWord   = rapid.StringMatching(`[a-z0-9_.]{1,8}`)
	drawNumber = rapid.Map(rapid.Float64Range(-1e12, 1e12), func(x float64) float64 { return x + 0 })
)

// list draws up to two elements; none is nil, as Parse gives it.
func list[T any](t *rapid.T, what string, draw func() T) []T {
	var out []T
	for range rapid.IntRange(0, 2).Draw(t, what) {
		out = append(out, draw())
	}
	return out
}

func drawDim(t *rapid.T) quantity.Dim {
	e := func(name string) int8 { return rapid.Int8().Draw(t, name) }
	return quantity.Dim{Mass: e("kg"), Length: e("m"), Time: e("s"), Current: e("A"), Temperature: e("K"), Angle: e("rad")}
}

func drawPlan(t *rapid.T) *Plan {
	text := func(s string) string { return drawText.Draw(t, s) }
	maybe := func(s string) string { return drawMaybe.Draw(t, s) }
	word := func(s string) string { return drawWord.Draw(t, s) }
	yes := func(s string) bool { return rapid.Bool().Draw(t, s) }
	words := func(s string) []string { return list(t, s, func() string { return word(s) }) }
	pairs := func(s string) []Text { return list(t, s, func() Text { return Text{word(s), text(s)} }) }
	p := &Plan{
		Car: text("car"), Procedure: word("procedure"), Title: text("title"),
		Stage: rapid.SampledFrom([]string{"A", "B", "C", "D", "E"}).Draw(t, "stage"), Purpose: maybe("purpose"),
		Live: yes("live"), Practice: yes("practice"),
		Proves: list(t, "proof", func() Proof {
			return Proof{word("proof"), append(words("part"), "x"), rapid.IntRange(0, 999).Draw(t, "days")}
		}),
		Prerequisites: words("prerequisite"), People: rapid.IntRange(1, 9).Draw(t, "people"),
		Protective: pairs("protective"), Cautions: pairs("caution"), Ambient: yes("ambient"),
		MakeSafe:   list(t, "make safe", func() string { return text("make safe") }),
		CarVoltage: drawNumber.Draw(t, "voltage"),
		Files: list(t, "file", func() File {
			return File{text("file"), rapid.SampledFrom([]string{Shipped, Changed, Own}).Draw(t, "origin"), strings.Repeat("c7", 32)}
		}),
	}
	for i := range rapid.IntRange(0, 4).Draw(t, "steps") {
		s := drawStep(t, fmt.Sprint("s", i), p.Steps)
		if yes("loop") {
			s.Items = []string{"a", "a." + word("turn")}
			s.Path = s.Items[1] + "." + s.Path
		}
		p.Steps = append(p.Steps, s)
	}
	if yes("retest") {
		p.Retest = []string{frameWord}
		if n := len(p.Steps); n > 0 && len(p.Steps[n-1].Items) > 0 {
			p.Retest = []string{p.Steps[n-1].Item()}
		}
	}
	p.SignOut = rapid.IntRange(0, len(p.Steps)).Draw(t, "sign out")
	return p
}

func drawStep(t *rapid.T, path string, earlier []Step) Step {
	text := func(s string) string { return drawText.Draw(t, s) }
	maybe := func(s string) string { return drawMaybe.Draw(t, s) }
	word := func(s string) string { return drawWord.Draw(t, s) }
	s := Step{
		Path: path, Text: text("text"), Purpose: maybe("purpose"), Source: maybe("source"), NotApplicable: maybe("reason"),
		Kind:     rapid.SampledFrom([]string{Confirm, Observe, Measure, Time, Compute, Wait, Hold, Capture}).Draw(t, "kind"),
		Parts:    list(t, "parts", func() string { return word("part") }),
		Cautions: list(t, "cautions", func() Text { return Text{word("id"), text("caution")} }),
		State:    list(t, "state", func() State { return State{word("name"), text("value")} }),
		Witness:  rapid.Bool().Draw(t, "witness"), ConditionalPass: rapid.Bool().Draw(t, "accept"),
		IfFailed: rapid.SampledFrom([]string{Stop, MakeSafeStop, Note}).Draw(t, "if failed"),
		Method:   maybe("method"), Stimulus: maybe("stimulus"),
	}
	switch s.Kind {
	case Confirm, Observe:
		s.Choices = []string{"no " + text("choice"), text("choice")}
		s.Expect = s.Choices[1]
	case Measure, Time:
		s.Dim, s.Role, s.UnfitMeter = drawDim(t), word("role"), RefuseMeter
		s.TestRange = TestRange{MinTestVoltage: math.Abs(drawNumber.Draw(t, "volts"))}
		s.LeadCheck = rapid.SampledFrom([]string{"", Before, After}).Draw(t, "lead check")
	case Compute:
		s.Dim, s.Function = drawDim(t), word("function")
		s.From = list(t, "from", func() Arg { return drawArg(t, earlier) })
	case Wait:
		s.Heats = list(t, "heats", func() Heat {
			return Heat{drawWord.Draw(t, "part"), rapid.Float64Range(1e-9, 1e9).Draw(t, "joules"), rapid.Float64Range(0, 1e9).Draw(t, "pulse"), 50}
		})
		s.Seconds = rapid.Float64Range(1e-9, 1e9).Draw(t, "seconds")
	case Hold:
		s.Hold = "releaser"
	case Capture:
		s.Role, s.UnfitMeter, s.Function = word("role"), MarkMeter, word("function")
		s.From = list(t, "from", func() Arg { return drawArg(t, earlier) })
		s.Channels = list(t, "channels", func() Channel { return Channel{word("channel"), text("column")} })
		s.Recorders = list(t, "recorders", func() Recorder { return Recorder{word("channel"), word("role")} })
		s.Signals = list(t, "signals", func() can.Signal { return drawSignal(t, word("signal")) })
		s.Bounds = list(t, "bounds", func() Bound {
			b := drawBound(t, drawDim(t))
			b.Feature = word("feature")
			return b
		})
	}
	if hasDimension(s.Kind) {
		s.Bounds = list(t, "bounds", func() Bound { return drawBound(t, s.Dim) })
	}
	return s
}

func drawArg(t *rapid.T, earlier []Step) Arg {
	a := Arg{Name: drawWord.Draw(t, "argument")}
	for _, s := range earlier {
		if hasDimension(s.Kind) {
			a.Step = s.Path
			return a
		}
	}
	if rapid.Bool().Draw(t, "word") {
		a.Text = drawText.Draw(t, "word")
		return a
	}
	a.Nominal, a.Dim = drawNumber.Draw(t, "nominal"), drawDim(t)
	a.Lo, a.Hi = a.Nominal-1, a.Nominal+1
	a.Formula, a.Substituted, a.Exactness = drawMaybe.Draw(t, "formula"), drawMaybe.Draw(t, "substituted"), "exact"
	a.Inputs = drawInputs(t)
	return a
}

func drawInputs(t *rapid.T) []Input {
	return list(t, "inputs", func() Input {
		return Input{drawText.Draw(t, "name"), drawNumber.Draw(t, "lo"), drawNumber.Draw(t, "hi"), drawDim(t)}
	})
}

func drawBound(t *rapid.T, dim quantity.Dim) Bound {
	b := Bound{
		ID: drawText.Draw(t, "id"), Formula: drawMaybe.Draw(t, "formula"), Substituted: drawMaybe.Draw(t, "substituted"),
		Exactness: drawMaybe.Draw(t, "exactness"), Inputs: drawInputs(t), Rules: drawMaybe.Draw(t, "rules"),
		Source: drawMaybe.Draw(t, "source"), Method: drawMaybe.Draw(t, "method"), Stimulus: drawMaybe.Draw(t, "stimulus"),
		Rule:      rapid.SampledFrom([]measure.Rule{measure.GuardBand, measure.SimpleAcceptance}).Draw(t, "rule"),
		Governs:   rapid.Bool().Draw(t, "governs"),
		TestRange: TestRange{MaxTestCurrent: math.Abs(drawNumber.Draw(t, "amperes"))},
	}
	b.Dim = dim
	b.Kind = rapid.SampledFrom([]quantity.BoundKind{
		quantity.AtLeast, quantity.AtMost, quantity.Between, quantity.MagnitudeAtMost, quantity.Expected,
	}).Draw(t, "kind")
	x := drawNumber.Draw(t, "bound")
	switch b.Kind {
	case quantity.AtLeast:
		b.Low = x
	case quantity.AtMost:
		b.High = x
	case quantity.MagnitudeAtMost:
		b.High = math.Abs(x)
	default:
		b.Low, b.High = x, x+1
	}
	return b
}

func drawSignal(t *rapid.T, name string) can.Signal {
	s := can.Signal{Name: name, ID: uint32(rapid.IntRange(0, can.LargestStandard).Draw(t, "id")), Extended: rapid.Bool().Draw(t, "extended"),
		Interface: rapid.SampledFrom([]string{"", "can0"}).Draw(t, "bus"), Start: rapid.IntRange(7, 63).Draw(t, "start"), Bits: rapid.IntRange(1, 64).Draw(t, "bits"),
		BigEndian: rapid.Bool().Draw(t, "big"), Signed: rapid.Bool().Draw(t, "signed"), Scale: rapid.Float64Range(1e-9, 1e9).Draw(t, "scale"),
		Offset: rapid.Float64Range(-1e9, 1e9).Draw(t, "offset") + 0, Dim: drawDim(t)}
	s.Unit, _ = s.Dim.Unit()
	if rapid.Bool().Draw(t, "has none") {
		s.Invalid = []uint64{rapid.Uint64().Draw(t, "none"), 0}
	}
	return s
}
