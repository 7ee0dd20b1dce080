package report_test

import (
	"context"
	"crypto/sha256"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"hvproof/internal/entry"
	"hvproof/internal/ledger"
	"hvproof/internal/ledger/ledgertest"
	"hvproof/internal/measure"
	"hvproof/internal/people"
	"hvproof/internal/plan"
	"hvproof/internal/quantity"
	"hvproof/internal/readiness"
	"hvproof/internal/report"
	"hvproof/internal/run"
)

const practiceOrigin = ledgertest.Origin + "/practice"

// shop is a log in memory with its people, and the runs in it.
type shop struct {
	t       testing.TB
	origin  string
	store   *ledgertest.Memory
	log     *ledger.Log
	history *run.History
	record  *readiness.Record
	m       *run.Machine // the newest run
}

func newShop(t testing.TB, origin string) *shop {
	t.Helper()
	st := ledgertest.NewMemory()
	s := &shop{t: t, origin: origin, store: st, log: ledgertest.Begin(t, st, origin)}
	s.history = run.NewHistory(func(d [32]byte) ([]byte, error) { return st.Blob(context.Background(), d) })
	s.record = readiness.NewRecord()
	return s
}

func (s *shop) append(b entry.Body, signer string) entry.Entry {
	s.t.Helper()
	e, leaf := ledgertest.Append(s.t, s.log, b, signer)
	require.NoError(s.t, s.history.Apply(e, leaf, signer))
	s.record.Apply(e, leaf, signer)
	return e
}

func (s *shop) blob(text []byte) [32]byte {
	s.t.Helper()
	d, err := s.store.PutBlob(context.Background(), text)
	require.NoError(s.t, err)
	return d
}

// begin begins a run of the plan.
func (s *shop) begin(p *plan.Plan, change ...func(*run.Start)) {
	s.t.Helper()
	text, err := plan.Marshal(p)
	require.NoError(s.t, err)
	meters, err := measure.MarshalInstruments(testMeters())
	require.NoError(s.t, err)
	start := run.Start{Plan: p, PlanHash: s.blob(text), MetersHash: s.blob(meters),
		Operator: ledgertest.Mills, Witness: ledgertest.Okoro, Releaser: ledgertest.Vance,
		Instruments: map[string]string{"voltmeter": "meter-1", "insulation_meter": "insul-1"},
		Meters:      testMeters(), Practice: p.Practice, Date: "2026-03-01"}
	for _, c := range change {
		c(&start)
	}
	e := s.append(start.Body(), start.Operator)
	s.m = s.history.Run(run.ID(e.Origin, e.Index))
	require.NotNil(s.t, s.m)
	s.auto()
}

// give answers the next prompt, which must have the key.
func (s *shop) give(key string, a run.Answer) {
	s.t.Helper()
	p := s.m.Next()
	require.Equal(s.t, key, p.Key, "prompt of kind %s", p.Kind)
	a.At = s.m.Ended().Add(time.Hour)
	bodies, err := s.m.Answer(p, a)
	require.NoError(s.t, err)
	for _, b := range bodies {
		if b.Kind == entry.Capture {
			s.blob(a.File)
		}
		s.append(b, p.Person)
	}
	s.auto()
}

func (s *shop) say(key, text string) { s.t.Helper(); s.give(key, run.Answer{Text: text}) }

// auto lets the machine do what needs no answer.
func (s *shop) auto() {
	s.t.Helper()
	for p := s.m.Next(); p.Kind == run.Automatic; p = s.m.Next() {
		bodies, err := s.m.Answer(p, run.Answer{})
		require.NoError(s.t, err)
		for _, b := range bodies {
			s.append(b, p.Person)
		}
	}
}

// source gathers what cmd would gather.
func (s *shop) source() report.Source {
	s.t.Helper()
	src := report.Source{Origin: s.origin, Practice: strings.HasSuffix(s.origin, "/practice"),
		Blob:   func(d [32]byte) ([]byte, error) { return s.store.Blob(context.Background(), d) },
		Names:  map[string]string{ledgertest.Mills: "R. Mills", ledgertest.Okoro: "S. Okoro", ledgertest.Vance: "D. Vance"},
		Issued: time.Date(2026, 3, 1, 18, 0, 0, 0, time.FixedZone("", 3600)), Program: "hvproof v0.1.0"}
	var register people.Register
	v, err := ledger.Verify(context.Background(), s.store, s.origin, ledger.VerifyOptions{
		Observer: func(index int64, e entry.Entry, signer string, raw []byte) {
			require.NoError(s.t, register.Apply(e, signer))
			if index == 0 {
				src.Start, src.Fingerprint = e, people.Digits(sha256.Sum256(raw))
			}
			src.Newest = e
		}})
	require.NoError(s.t, err)
	require.Empty(s.t, v.Faults)
	src.Open = report.OpenIn(readiness.Log{Runs: s.history, Record: s.record})
	src.Entries, src.Checkpoint, src.People = v.Entries, v.Checkpoint, register.Persons()
	return src
}

func testMeters() []measure.Instrument {
	return []measure.Instrument{
		{ID: "meter-1", Kind: "multimeter", Serial: "M-4471", Category: "CAT III", MaxVoltage: 1000, CalibratedOn: "2025-06-30", CalibratedUntil: "2026-06-30",
			Roles: []string{"voltmeter"}, Functions: []measure.Function{
				{Name: "dc_voltage", Dim: quantity.Volt, InputResistance: 10e6, Ranges: []measure.MeterRange{
					{To: 6, Digit: 0.001, PercentOfReading: 0.005, Digits: 2},
					{To: 60, Digit: 0.01, PercentOfReading: 0.005, Digits: 2},
					{To: 600, Digit: 0.1, PercentOfReading: 0.005, Digits: 2}}},
			}},
		{ID: "insul-1", Kind: "insulation tester", Serial: "I-203", Category: "CAT III", MaxVoltage: 1000, CalibratedUntil: "2026-09-15",
			Roles: []string{"insulation_meter"}, Functions: []measure.Function{
				{Name: "isolation_500", Dim: quantity.Ohm, Method: "joined-pole", TestVoltage: 500, Ranges: []measure.MeterRange{
					{To: 4e6, Digit: 1e3, PercentOfReading: 0.03, Digits: 5},
					{To: 40e6, Digit: 1e4, PercentOfReading: 0.03, Digits: 5},
					{To: 400e6, Digit: 1e5, PercentOfReading: 0.03, Digits: 5}}},
			}},
		{ID: "scope-1", Kind: "oscilloscope", Serial: "S-88", Category: "CAT III", MaxVoltage: 1000, CalibratedUntil: "2027-06-30", Roles: []string{"scope"},
			Functions: []measure.Function{{Name: "voltage", Dim: quantity.Volt, Ranges: []measure.MeterRange{{To: 500, Digit: 2, PercentOfRange: 0.03}}}}},
	}
}

// isolation is the limit of a car of 403.2 V, and where it comes from.
func isolation(id string) plan.Bound {
	return plan.Bound{ID: id, Bound: quantity.Bound{Kind: quantity.AtLeast, Low: 201600, Dim: quantity.Ohm},
		Formula: "500 Ω/V * system.max_voltage", Substituted: "500 Ω/V * 403.2 V", Exactness: "exact",
		Inputs: []plan.Input{{Name: "system.max_voltage", Lo: 403.2, Hi: 403.2, Dim: quantity.Volt}},
		Rules:  "un-r100", Source: "UN R100, 5.1.3.1 (edition: revision 2)", Governs: true}
}

func dead(governs bool, rules string) plan.Bound {
	return plan.Bound{ID: "dead_voltage", Bound: quantity.Bound{Kind: quantity.MagnitudeAtMost, High: 60, Dim: quantity.Volt},
		Formula: "60 V", Substituted: "60 V", Exactness: "exact", Rules: rules, Source: "limit of high voltage, DC, from memory, unverified", Governs: governs}
}

func volts(path, text string, b ...plan.Bound) plan.Step {
	return plan.Step{Path: path, Kind: plan.Measure, Text: text, Dim: quantity.Volt, Role: "voltmeter", IfFailed: plan.Stop, UnfitMeter: plan.RefuseMeter, Bounds: b}
}

func megohms(path, text string, b ...plan.Bound) plan.Step {
	return plan.Step{Path: path, Kind: plan.Measure, Text: text, Dim: quantity.Ohm, Role: "insulation_meter", Method: "joined-pole",
		Parts: []string{"dc_link"}, IfFailed: plan.MakeSafeStop, UnfitMeter: plan.RefuseMeter, Bounds: b}
}

func confirm(path, text, expect string, choices ...string) plan.Step {
	return plan.Step{Path: path, Kind: plan.Confirm, Text: text, Expect: expect, Choices: choices, IfFailed: plan.Stop}
}

func file(name, origin string) plan.File {
	return plan.File{Name: name, Origin: origin, Digest: strings.Repeat("0123456789abcdef", 4)}
}

// wholePlan is live work with every kind of step.
func wholePlan(practice bool) *plan.Plan {
	link := volts("dead", "DC link, plus to minus, read it.", dead(true, "un-r100"), dead(false, "workshop"))
	link.Witness, link.Parts, link.Purpose = true, []string{"dc_link"}, "Nobody touches what was not proved dead."
	pack := volts("vb", "Pack voltage, plus to minus, read it.", plan.Bound{ID: "vb",
		Bound:   quantity.Bound{Kind: quantity.Expected, Low: 288, High: 403.2, Dim: quantity.Volt},
		Formula: "packs.left.max_voltage", Substituted: "96 * (3 V … 4.2 V)", Exactness: "corners",
		Inputs: []plan.Input{{Name: "packs.left.cells.max", Lo: 3, Hi: 4.2, Dim: quantity.Volt}}})
	pyro := confirm("pyro", "Pyrotechnic disconnect, shorting clip, look.", "on", "on", "off")
	pyro.NotApplicable = "has(pyro) = false"
	leads := megohms("leads", "Check resistor through the same leads, read it.", plan.Bound{ID: "leads",
		Bound:   quantity.Bound{Kind: quantity.AtMost, High: 1.1e6, Dim: quantity.Ohm},
		Formula: "1.1 MΩ", Substituted: "1.1 MΩ", Exactness: "exact", Governs: true, Rule: measure.SimpleAcceptance})
	leads.LeadCheck = plan.Before
	p := &plan.Plan{
		Car: "Sandpiper", Procedure: "isolation_whole", Title: "Isolation of the whole car", Stage: "C", Practice: practice,
		Purpose: "A leak between the HV system and chassis makes one touch a shock.", Live: true, People: 2, Ambient: true, CarVoltage: 403.2,
		Proves:        []plan.Proof{{ID: "isolation_whole", Parts: []string{"whole"}, HoldsDays: 90}},
		Prerequisites: []string{"isolation_parts", "isolation_pack"},
		Protective:    []plan.Text{{ID: "gloves", Text: "Insulating gloves, in date, tested today"}},
		Cautions:      []plan.Text{{ID: "hv_live", Text: "High voltage. DC does not let go."}},
		MakeSafe:      []string{"Press the emergency-off.", "Service disconnect out and locked."},
		Files:         []plan.File{file("vehicle.yaml", plan.Own), file("procedures/isolation_whole.yaml", plan.Changed), file("rules/un-r100.yaml", plan.Shipped)},
		Steps: []plan.Step{
			confirm("covers", "Covers at the service opening, off.", "off", "on", "off"),
			{Path: "go", Kind: plan.Hold, Text: "May the live work begin?", Hold: "releaser", IfFailed: plan.Stop},
			link, pyro, leads,
			megohms("part", "DC link, joined poles to chassis, read it.", isolation("isolation_part")),
			pack, volts("v1", "Minus pole to chassis, read it."), volts("v2", "Plus pole to chassis, read it."),
			volts("v1x", "The same with the known resistor, read it."),
			{Path: "at", Kind: plan.Observe, Text: "At which pole is the known resistor?", Choices: []string{"negative", "positive"}, IfFailed: plan.Stop},
			{Path: "weaker", Kind: plan.Compute, Text: "Isolation resistance of the weaker pole.", Dim: quantity.Ohm, Method: "two-voltage",
				Function: "isolation_two_voltage", IfFailed: plan.Stop, Parts: []string{"whole"},
				From: []plan.Arg{{Name: "vb", Step: "vb"}, {Name: "v1", Step: "v1"}, {Name: "v2", Step: "v2"}, {Name: "v_prime", Step: "v1x"},
					{Name: "r0", Lo: 200e3, Nominal: 200e3, Hi: 200e3, Dim: quantity.Ohm, Formula: "200 kΩ", Substituted: "200 kΩ", Exactness: "exact"},
					{Name: "r0_at", Step: "at"}},
				Bounds: []plan.Bound{isolation("isolation_whole")}},
			{Path: "rest", Kind: plan.Wait, Text: "Wait for the DC link to discharge.", Seconds: 300, IfFailed: plan.Stop},
			confirm("tools", "Tools, all counted.", "counted", "missing", "counted"),
		},
	}
	p.SignOut = len(p.Steps) - 1
	for i := range p.Steps[:p.SignOut] {
		p.Steps[i].State = []plan.State{{Name: "packs", Value: "in"}}
	}
	return p
}

// shortPlan has a few steps without a hold point.
func shortPlan(practice bool) *plan.Plan {
	p := &plan.Plan{Car: "Sandpiper", Procedure: "isolation_parts", Title: "Isolation of parts", Stage: "A", Practice: practice,
		Purpose: "A leak is found in the part that has it.", People: 1, CarVoltage: 403.2,
		Proves:   []plan.Proof{{ID: "isolation_parts", Parts: []string{"dc_link"}}},
		MakeSafe: []string{"Let go of the test key."},
		Files:    []plan.File{file("procedures/isolation_parts.yaml", plan.Shipped)},
		Steps: []plan.Step{
			megohms("part", "DC link, joined poles to chassis, read it.", isolation("isolation_part")),
			volts("end", "DC link after the discharge lead, read it.", dead(true, "un-r100")),
			confirm("tools", "Tools, all counted.", "counted", "missing", "counted"),
		}}
	p.SignOut = 2
	return p
}

// throughWhole answers wholePlan up to the step.
func (s *shop) throughWhole(until string) {
	s.t.Helper()
	for _, a := range [][2]string{
		{"run:ambient", "17 °C, 62 %, dry"}, {"covers:caution", "understood"}, {"covers:state", "packs: in"}, {"covers", "off"},
		{"go", "released"}, {"dead", "1.204 V"}, {"dead:witness", "seen"}, {"leads", "0.98 M"}, {"part", "45.4 M"},
		{"vb", "362.2 V"}, {"v1", "336.8 V"}, {"v2", "11.53 V"}, {"v1x", "115.5 V"}, {"at", "negative"},
		{"rest", "301 s"}, {"tools", "counted"},
	} {
		if a[0] == until {
			return
		}
		s.say(a[0], a[1])
	}
}
