package run

import (
	"crypto/sha256"
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"hvproof/internal/entry"
	"hvproof/internal/measure"
	"hvproof/internal/plan"
	"hvproof/internal/quantity"
)

// The meters of the tests: invented, with accuracies of the usual kind.
func testMeters() []measure.Instrument {
	return []measure.Instrument{
		{ID: "meter-1", Kind: "multimeter", Category: "CAT III", MaxVoltage: 1000, CalibratedUntil: "2027-06-30",
			Roles: []string{"voltmeter"}, Functions: []measure.Function{
				{Name: "dc_voltage", Dim: quantity.Volt, InputResistance: 10e6, Ranges: []measure.MeterRange{
					{To: 6, Digit: 0.001, PercentOfReading: 0.005, Digits: 2},
					{To: 60, Digit: 0.01, PercentOfReading: 0.005, Digits: 2},
					{To: 600, Digit: 0.1, PercentOfReading: 0.005, Digits: 2}}},
				{Name: "resistance", Dim: quantity.Ohm, Ranges: []measure.MeterRange{
					{To: 6e6, Digit: 1e3, PercentOfReading: 0.015, Digits: 3}}},
			}},
		{ID: "insul-1", Kind: "insulation tester", Category: "CAT III", MaxVoltage: 1000, CalibratedUntil: "2027-09-15",
			Roles: []string{"insulation_meter"}, Functions: []measure.Function{
				{Name: "isolation_500", Dim: quantity.Ohm, Method: "joined-pole", TestVoltage: 500, Ranges: []measure.MeterRange{
					{To: 4e6, Digit: 1e3, PercentOfReading: 0.03, Digits: 5},
					{To: 40e6, Digit: 1e4, PercentOfReading: 0.03, Digits: 5},
					{To: 400e6, Digit: 1e5, PercentOfReading: 0.03, Digits: 5}}},
			}},
		{ID: "watch-1", Kind: "stopwatch", CalibratedUntil: "2027-11-02", Roles: []string{"timer"}, Functions: []measure.Function{
			{Name: "stopwatch", Dim: quantity.Second, ByHand: true, Ranges: []measure.MeterRange{{To: 3600, Digit: 0.01, Fixed: 0.21}}},
		}},
	}
}

func atLeast(id string, low float64, d quantity.Dim) plan.Bound {
	return plan.Bound{ID: id, Bound: quantity.Bound{Kind: quantity.AtLeast, Low: low, Dim: d}, Formula: "f", Substituted: "f", Exactness: "exact", Governs: true}
}

func magnitude(id string, high float64) plan.Bound {
	return plan.Bound{ID: id, Bound: quantity.Bound{Kind: quantity.MagnitudeAtMost, High: high, Dim: quantity.Volt}, Formula: "f", Substituted: "f", Exactness: "exact", Governs: true}
}

func window(low, high float64, d quantity.Dim) plan.Bound {
	return plan.Bound{ID: "window", Bound: quantity.Bound{Kind: quantity.Expected, Low: low, High: high, Dim: d}, Formula: "f", Substituted: "f", Exactness: "exact"}
}

func volts(path string, b ...plan.Bound) plan.Step {
	return plan.Step{Path: path, Kind: plan.Measure, Text: "read it", Dim: quantity.Volt, Role: "voltmeter", IfFailed: plan.Stop, UnfitMeter: plan.RefuseMeter, Bounds: b}
}

func megohms(path string, b ...plan.Bound) plan.Step {
	return plan.Step{Path: path, Kind: plan.Measure, Text: "read it", Dim: quantity.Ohm, Role: "insulation_meter", Method: "joined-pole",
		IfFailed: plan.Stop, UnfitMeter: plan.RefuseMeter, Bounds: b}
}

func confirm(path, expect string, choices ...string) plan.Step {
	return plan.Step{Path: path, Kind: plan.Confirm, Text: "do it", Expect: expect, Choices: choices, IfFailed: plan.Stop}
}

// isolation is the limit of the demo car: 500 Ω/V on 403.2 V.
const isolation = 201600

// testPlan has every kind of step once.
func testPlan() *plan.Plan {
	witnessed := volts("dead", magnitude("dead", 60))
	witnessed.Witness = true
	p := &plan.Plan{
		Car: "Testbed", Procedure: "everything", Title: "Everything", Stage: "C", Purpose: "to see it", Live: true, Practice: true,
		Proves:   []plan.Proof{{ID: "everything", Parts: []string{"dc_link"}}},
		People:   2,
		Cautions: []plan.Text{{ID: "hv", Text: "High voltage."}}, MakeSafe: []string{"Press the emergency-off."},
		Ambient: true, CarVoltage: 403.2,
		Steps: []plan.Step{
			confirm("covers", "on", "off", "on"),
			{Path: "go", Kind: plan.Hold, Text: "May it begin?", Hold: "releaser", IfFailed: plan.Stop},
			witnessed,
			megohms("iso", atLeast("isolation_part", isolation, quantity.Ohm)),
			volts("vb", window(288, 403.2, quantity.Volt)), volts("v1"), volts("v2"), volts("v1x"),
			{Path: "at", Kind: plan.Observe, Text: "Where is the resistor?", Choices: []string{"negative", "positive"}, IfFailed: plan.Stop},
			{Path: "weaker", Kind: plan.Compute, Text: "weaker pole", Dim: quantity.Ohm, Method: "two-voltage", Function: "isolation_two_voltage", IfFailed: plan.Stop,
				From: []plan.Arg{{Name: "vb", Step: "vb"}, {Name: "v1", Step: "v1"}, {Name: "v2", Step: "v2"}, {Name: "v_prime", Step: "v1x"},
					{Name: "r0", Lo: 200e3, Nominal: 200e3, Hi: 200e3, Dim: quantity.Ohm}, {Name: "r0_at", Step: "at"}},
				Bounds: []plan.Bound{atLeast("isolation_whole", isolation, quantity.Ohm)}},
			{Path: "rest", Kind: plan.Wait, Text: "wait", Seconds: 300, IfFailed: plan.Stop},
			{Path: "tools", Kind: plan.Confirm, Text: "count", Expect: "counted", Choices: []string{"missing", "counted"}, IfFailed: plan.Stop},
		},
	}
	p.SignOut = len(p.Steps) - 1
	for i := range p.Steps[:p.SignOut] {
		p.Steps[i].State = []plan.State{{Name: "packs", Value: "in"}}
	}
	return p
}

func testStart(p *plan.Plan) Start {
	return Start{Plan: p, Operator: "op", Witness: "wi", Releaser: "re", Practice: true, Date: "2027-03-20",
		Instruments: map[string]string{"voltmeter": "meter-1", "insulation_meter": "insul-1", "timer": "watch-1"}, Meters: testMeters()}
}

// bench is a run with a log that only counts.
type bench struct {
	t       *testing.T
	m       *Machine
	entries []recorded
	now     time.Time
}

type recorded struct {
	e      entry.Entry
	leaf   [32]byte
	signer string
}

func newBench(t *testing.T, s Start) *bench {
	t.Helper()
	return &bench{t: t, m: New("abcdefgh-7", s), now: time.Date(2027, 3, 20, 9, 0, 0, 0, time.UTC)}
}

// commit stands for the log: what it takes must be printable as an entry.
func (b *bench) commit(body entry.Body, signer string) {
	b.t.Helper()
	b.now = b.now.Add(20 * time.Second)
	e := entry.Entry{Header: entry.Header{Origin: "hvproof/testbed/aaaaaaaa/bbbbbbbb/practice", Index: int64(8 + len(b.entries)),
		Time: b.now, Zone: "+00:00", Boot: "b", Version: "hvproof test"}, Body: body}
	text, err := entry.Marshal(e)
	require.NoError(b.t, err, "%+v", body)
	again, err := entry.Parse(text)
	require.NoError(b.t, err)
	r := recorded{again, sha256.Sum256(text), signer}
	b.entries = append(b.entries, r)
	require.NoError(b.t, b.m.Apply(r.e, r.leaf, r.signer))
}

// give answers the next prompt, which must have the key.
func (b *bench) give(key string, a Answer) error {
	b.t.Helper()
	p := b.m.Next()
	require.Equal(b.t, key, p.Key, "prompt of kind %s", p.Kind)
	a.At = b.now.Add(20 * time.Second)
	bodies, err := b.m.Answer(p, a)
	if err != nil {
		return err
	}
	for _, body := range bodies {
		b.commit(body, p.Person)
	}
	return nil
}

func (b *bench) ok(key, text string) {
	b.t.Helper()
	require.NoError(b.t, b.give(key, Answer{Text: text}))
}

// auto lets the machine do what needs no answer.
func (b *bench) auto() {
	b.t.Helper()
	for p := b.m.Next(); p.Kind == Automatic; p = b.m.Next() {
		bodies, err := b.m.Answer(p, Answer{})
		require.NoError(b.t, err)
		for _, body := range bodies {
			b.commit(body, p.Person)
		}
	}
}

// decision gives the last decision on a step.
func (b *bench) decision(path string) string {
	for _, s := range b.m.Steps() {
		if s.Step.Path == path {
			return s.Decision
		}
	}
	return fmt.Sprintf("no step %q", path)
}

// begin answers what stands before the first step of testPlan.
func (b *bench) begin() {
	b.t.Helper()
	b.ok("run:ambient", "17 °C, 62 %, dry")
	b.ok("covers:caution", "understood")
	b.ok("covers:state", "packs: in")
}
