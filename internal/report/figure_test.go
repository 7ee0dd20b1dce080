package report_test

import (
	"bytes"
	"crypto/sha256"
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/internal/capture"
	"hvproof/internal/capture/feature"
	"hvproof/internal/ledger/ledgertest"
	"hvproof/internal/plan"
	"hvproof/internal/quantity"
	"hvproof/internal/report"
	"hvproof/internal/report/text"
	"hvproof/internal/run"
)

// ramp is a pre-charge as a recorder writes it: V(1 - e^(-t/τ)), the main
// contactor closed at 0.25 s.
func ramp(tau float64) []byte {
	var b bytes.Buffer
	b.WriteString("Time (s),link (V),pack (V)\n")
	for i := range 3201 {
		t := -0.01 + 1e-4*float64(i)
		v := 362.4
		if t < 0.25 {
			v *= -math.Expm1(-math.Max(0, t) / tau)
		}
		wobble := 0.3 * math.Sin(float64(i)*1.7) // stands for noise
		fmt.Fprintf(&b, "%.4f,%.2f,%.2f\n", t, v+wobble, 362.4-wobble)
	}
	return b.Bytes()
}

// wavePlan asks for a recording of the pre-charge.
func wavePlan() *plan.Plan {
	p := &plan.Plan{Car: "Sandpiper", Procedure: "precharge", Title: "Pre-charge", Stage: "C", Purpose: "A link closed onto too early welds its contactor.", People: 1, CarVoltage: 403.2,
		Proves: []plan.Proof{{ID: "precharge", Parts: []string{"precharge"}}}, MakeSafe: []string{"Press the emergency-off."},
		Files: []plan.File{file("procedures/precharge.yaml", plan.Shipped)},
		Steps: []plan.Step{{Path: "ramp", Kind: plan.Capture, Text: "DC link and pack on the scope, from before the command to after the closing.", Parts: []string{"precharge"},
			Function: "precharge", Role: "scope", IfFailed: plan.Stop, UnfitMeter: plan.RefuseMeter,
			Bounds: []plan.Bound{
				{ID: "ramp.tau", Feature: "tau", Governs: true, Bound: quantity.Bound{Kind: quantity.Between, Low: 0.0593, High: 0.08011, Dim: quantity.Second},
					Formula: "precharge.tau", Substituted: "(59.3 ms … 80.11 ms)", Exactness: "exact", Source: "pre-charge resistor times DC-link capacitance"},
				{ID: "fraction", Feature: "fraction_at_close", Governs: true, Rules: "workshop", Bound: quantity.Bound{Kind: quantity.AtLeast, Low: 0.95, Dim: quantity.One},
					Formula: "95 %", Substituted: "95 %", Exactness: "exact", Source: "common practice, no source"},
			}},
			confirm("tools", "Tools, all counted.", "counted", "missing", "counted")}}
	p.SignOut = 1
	return p
}

// waveform: a recording that shows a wrong resistor, and one after the repair.
func waveform(t *testing.T) *report.Report {
	s := waved(t)
	return report.Run(s.m, s.source())
}

func waved(t *testing.T) *shop {
	t.Helper()
	s := newShop(t, ledgertest.Origin)
	s.begin(wavePlan(), func(st *run.Start) {
		st.Instruments["scope"] = "scope-1"
	})
	s.give("ramp", run.Answer{Text: "captures/ramp.csv", File: ramp(0.0348)})
	s.give("ramp:again", run.Answer{Again: true, Reason: "33 Ω was fitted for 68 Ω; changed"})
	s.give("ramp", run.Answer{Text: "captures/ramp_2.csv; dc_link=link", File: ramp(0.0709)})
	s.say("tools", "counted")
	require.Equal(t, run.Passed, s.m.Outcome())
	return s
}

// The drawing in a report is that of `hvproof capture --plot` of the same file.
func TestFigureIsThatOfCapture(t *testing.T) {
	s := waved(t)
	step := s.m.Steps()[0]
	require.Len(t, step.Attempts, 2)
	for i, tau := range []float64{0.0348, 0.0709} {
		chart, remark := report.Figure(s.m, step.Step, &step.Attempts[i], s.source().Blob)
		require.NotNil(t, chart, remark)
		assert.Empty(t, remark)
		name := step.Attempts[i].Body.Text("name")
		w, err := capture.Read(bytes.NewReader(ramp(tau)), capture.Options{Name: name})
		require.NoError(t, err)
		found, err := feature.Analyse(w, feature.Request{Kind: feature.KindPrecharge})
		require.NoError(t, err)
		var want, got bytes.Buffer
		require.NoError(t, feature.Chart("precharge, "+name, w, found).Draw(640, 420).SVG(&want))
		require.NoError(t, chart.Draw(640, 420).SVG(&got))
		assert.True(t, bytes.Equal(want.Bytes(), got.Bytes()), "the same drawing, to the byte")
		assert.Contains(t, chart.Words(), []string{"1  start, -5.361 µs", "2  main contactor closes, 250 ms"}[i])
	}
}

// What cannot be drawn, or is not what was recorded, is said in words.
func TestFigureSaysWhyNot(t *testing.T) {
	s := waved(t)
	step := s.m.Steps()[0]
	a := &step.Attempts[1]
	draw := func(blob func([32]byte) ([]byte, error)) (bool, string) {
		chart, remark := report.Figure(s.m, step.Step, a, blob)
		return chart != nil, remark
	}
	drawn, remark := draw(func([32]byte) ([]byte, error) { return nil, errors.New("not there") })
	assert.False(t, drawn)
	assert.Contains(t, remark, "NOT DRAWN: the file of the recording is missing")
	drawn, remark = draw(func([32]byte) ([]byte, error) { return ramp(0.0700), nil })
	assert.False(t, drawn)
	assert.Contains(t, remark, "NOT DRAWN: the file kept here is not the one that was recorded")
	drawn, remark = draw(nil)
	assert.False(t, drawn)
	assert.Contains(t, remark, "NOT DRAWN")

	// An entry whose file gives other numbers than it claims: a record that
	// somebody signed with numbers of another recording.
	other := ramp(0.0600)
	for i := range a.Body.Fields {
		if a.Body.Fields[i].Name == "file" {
			a.Body.Fields[i].Value = fmt.Sprintf("%x", sha256.Sum256(other))
		}
	}
	drawn, remark = draw(func([32]byte) ([]byte, error) { return other, nil })
	assert.True(t, drawn)
	assert.Contains(t, remark, "READ AGAIN IT GIVES OTHER NUMBERS")
	assert.Regexp(t, `t0 \S+ ns, and was \S+ ns`, remark)
	other = []byte("not a recording\n")
	for i := range a.Body.Fields {
		if a.Body.Fields[i].Name == "file" {
			a.Body.Fields[i].Value = fmt.Sprintf("%x", sha256.Sum256(other))
		}
	}
	drawn, remark = draw(func([32]byte) ([]byte, error) { return other, nil })
	assert.False(t, drawn)
	assert.Contains(t, remark, "cannot be read again")

	// A reading is no waveform, and nothing is said of a drawing.
	chart, remark := report.Figure(s.m, s.m.Steps()[1].Step, s.m.Steps()[1].Last(), s.source().Blob)
	assert.Nil(t, chart)
	assert.Empty(t, remark)
}

// A waveform that cannot be drawn stands on page one, and in its step.
func TestUndrawnIsSeenFirst(t *testing.T) {
	s := waved(t)
	src := s.source()
	src.Blob = func([32]byte) ([]byte, error) { return nil, errors.New("not there") }
	r := report.Run(s.m, src)
	var first bytes.Buffer
	require.NoError(t, text.Write(&first, &report.Report{Parts: r.Parts[:1]}))
	words := strings.Join(strings.Fields(first.String()), " ")
	assert.True(t, strings.Contains(words, "ramp, entry 6: NOT DRAWN") && strings.Contains(words, "ramp, entry 8: NOT DRAWN"), words)
}
