package audit

import (
	"bytes"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/internal/entry"
	"hvproof/internal/ledger/ledgertest"
	"hvproof/internal/measure"
	"hvproof/internal/plan"
	"hvproof/internal/quantity"
	"hvproof/internal/run"
)

// ramped is a plan of one step that takes a pre-charge's waveform.
func ramped() *plan.Plan {
	value := func(name string, lo, nominal, hi float64, d quantity.Dim) plan.Arg {
		return plan.Arg{Name: name, Lo: lo, Nominal: nominal, Hi: hi, Dim: d, Formula: name, Substituted: name, Exactness: "exact"}
	}
	return &plan.Plan{Car: "Sandpiper", Procedure: "ramp", Title: "Ramp", Stage: "C", People: 1, CarVoltage: 403.2, SignOut: 1,
		Steps: []plan.Step{{Path: "ramp", Kind: plan.Capture, Text: "Record it.", Function: "precharge", Role: "scope", IfFailed: plan.Stop, UnfitMeter: plan.RefuseMeter,
			From: []plan.Arg{value("precharge.tau", 0.0593, 0.06936, 0.08011, quantity.Second), value("precharge.resistance", 64.6, 68, 71.4, quantity.Ohm),
				value("dc_link.capacitance", 0.918e-3, 1.02e-3, 1.122e-3, quantity.Farad)},
			Bounds: []plan.Bound{{ID: "ramp.tau", Feature: "tau", Formula: "f", Substituted: "f", Exactness: "exact", Governs: true,
				Bound: quantity.Bound{Kind: quantity.Expected, Low: 0.0593, High: 0.08011, Dim: quantity.Second}}}}}}
}

func scope() measure.Instrument {
	return measure.Instrument{ID: "scope-1", Kind: "scope", Category: "CAT III", MaxVoltage: 1000, CalibratedUntil: "2027-06-30", Roles: []string{"scope"},
		Functions: []measure.Function{{Name: "voltage", Dim: quantity.Volt, Ranges: []measure.MeterRange{{To: 500, Digit: 2, PercentOfRange: 0.03}}}}}
}

// recording is a pre-charge of that time constant in s, closed after 0.25 s.
func recording(tau float64) []byte {
	var b bytes.Buffer
	b.WriteString("Time (s),link (V),pack (V)\n")
	for i := range 3201 {
		t := -0.01 + 1e-4*float64(i)
		v := 362.4
		if t < 0.25 {
			v *= -math.Expm1(-math.Max(0, t) / tau)
		}
		wobble := 0.3 * math.Sin(float64(i)*1.7)
		fmt.Fprintf(&b, "%.4f,%.2f,%.2f\n", t, v+wobble, 362.4-wobble)
	}
	return b.Bytes()
}

// TestForgedWaveform signs, with good keys, numbers that the waveform in the
// log does not give: the file lies there, and is read again.
func TestForgedWaveform(t *testing.T) {
	number := func(b *entry.Body, name string, change func(parts []string)) {
		for i := range b.Fields {
			parts := strings.Split(b.Fields[i].Value, " ")
			if strings.HasPrefix(b.Fields[i].Name, "feature ") && parts[0] == name {
				change(parts)
				b.Fields[i].Value = strings.Join(parts, " ")
			}
		}
	}
	wrong := recording(0.0348)
	tests := []struct {
		name, codes, says string
		file              []byte
		change            func(*entry.Body)
	}{
		{"nothing", "", "", recording(0.0709), nil},
		{"the last digits of another processor", "", "", recording(0.0709), func(b *entry.Body) {
			number(b, "tau", func(p []string) {
				x, err := entry.ParseNumber(p[1])
				require.NoError(t, err)
				p[1] = entry.FormatNumber(x * (1 + 1e-8))
			})
		}},
		{"a time constant that looks like this car", "other-features refuted-decision", "pass is recorded, and the waveform itself gives fail", wrong, func(b *entry.Body) {
			number(b, "tau", func(p []string) { p[1] = "0.07" })
			set(b, "decision", "pass")
			b.Fields = slices.DeleteFunc(b.Fields, func(f entry.Field) bool { return strings.HasPrefix(f.Name, "finding ") })
		}},
		{"less uncertainty", "other-features", "tau ", recording(0.0709), func(b *entry.Body) {
			number(b, "tau", func(p []string) { p[3] = "0.0000001" })
		}},
		{"a number left out", "impossible-run other-features", "nothing is recorded, and the waveform gives tau", recording(0.0709), func(b *entry.Body) {
			b.Fields = slices.DeleteFunc(b.Fields, func(f entry.Field) bool {
				return strings.HasPrefix(f.Name, "feature ") && strings.HasPrefix(f.Value, "tau ")
			})
			n := 0
			for i := range b.Fields {
				if strings.HasPrefix(b.Fields[i].Name, "feature ") {
					n++
					b.Fields[i].Name = fmt.Sprint("feature ", n)
				}
			}
		}},
		{"another column", "other-features", "channel is recorded as", recording(0.0709), func(b *entry.Body) { set(b, "channel 1", "dc_link=pack") }},
		{"another reader", "not-recomputed", "read by version 0 of the reader", recording(0.0709), func(b *entry.Body) { set(b, "importer", "0") }},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			b := newBench(t)
			m := b.begin(ramped(), scope(), func(s *run.Start) { s.Instruments = map[string]string{"scope": "scope-1"} })
			_, err := b.st.PutBlob(t.Context(), test.file)
			require.NoError(t, err)
			bodies, err := m.Answer(m.Next(), run.Answer{Text: "captures/ramp.csv", File: test.file, At: b.now, Confirm: true})
			require.NoError(t, err)
			require.Equal(t, entry.Capture, bodies[0].Kind)
			if test.change != nil {
				was := fmt.Sprint(bodies[0])
				test.change(&bodies[0])
				require.NotEqual(t, was, fmt.Sprint(bodies[0]))
			}
			b.add(bodies[0], ledgertest.Mills)
			b.drive(m, good())
			var got []string
			remarks := b.remarks()
			for _, c := range codes(remarks) {
				if c != "unfinished-run" && c != "not-signed-out" {
					got = append(got, c)
				}
			}
			assert.Equal(t, strings.Fields(test.codes), append([]string{}, got...), "%v", remarks)
			if test.codes != "" {
				assert.Contains(t, sentence(t, remarks, strings.Fields(test.codes)[len(strings.Fields(test.codes))-1]), test.says)
			}
		})
	}
}
