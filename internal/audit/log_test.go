package audit

import (
	"crypto/sha256"
	"fmt"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"hvproof/internal/entry"
	"hvproof/internal/ledger"
	"hvproof/internal/ledger/ledgertest"
	"hvproof/internal/measure"
	"hvproof/internal/plan"
	"hvproof/internal/quantity"
	"hvproof/internal/run"
)

// A bench is a log in memory with a clock that the test moves.
type bench struct {
	t       *testing.T
	st      *ledgertest.Memory
	log     *ledger.Log
	history *run.History
	now     time.Time
	version string
}

func newBench(t *testing.T) *bench {
	b := &bench{t: t, st: ledgertest.NewMemory(), now: time.Date(2027, 3, 20, 9, 0, 0, 0, time.FixedZone("", 3600)), version: "hvproof 0.1.0"}
	ledgertest.Begin(t, b.st, ledgertest.Origin)
	b.reopen()
	b.history = run.NewHistory(func(d [32]byte) ([]byte, error) { return b.st.Blob(t.Context(), d) })
	return b
}

func (b *bench) reopen() {
	clock := ledger.Clock{Now: func() time.Time { return b.now }, Uptime: func() float64 { return 1 }, Boot: "boot-1", Version: b.version}
	log, err := ledger.Open(b.t.Context(), b.st, ledgertest.Origin, ledgertest.Signer(b.t, ledgertest.Origin), clock)
	require.NoError(b.t, err)
	b.log = log
}

// add appends an entry as it is, ten seconds after the one before.
func (b *bench) add(body entry.Body, signer string) entry.Entry {
	b.t.Helper()
	b.now = b.now.Add(10 * time.Second)
	e, leaf := ledgertest.Append(b.t, b.log, body, signer)
	_ = b.history.Apply(e, leaf, signer) // what no run would write is the point of some tests
	return e
}

// body begins a body of a run's entry, or of another one.
func body(kind entry.Kind, m *run.Machine, path string, fields ...string) entry.Body {
	b := entry.Body{Kind: kind, Path: path}
	if m != nil {
		b.Run = m.ID()
	}
	for i := 0; i < len(fields); i += 2 {
		b.Add(fields[i], fields[i+1])
	}
	return b
}

// meter is a voltmeter in calibration.
func meter() measure.Instrument {
	return measure.Instrument{ID: "meter-1", Kind: "multimeter", Serial: "S-1", Category: "CAT III", MaxVoltage: 1000,
		CalibratedOn: "2026-06-30", CalibratedUntil: "2027-06-30", Roles: []string{"voltmeter"},
		Functions: []measure.Function{{Name: "dc_voltage", Dim: quantity.Volt, InputResistance: 10e6, TestCurrent: 40e-6, TestCurrentKnown: true,
			Ranges: []measure.MeterRange{{To: 600, Digit: 0.1, PercentOfReading: 0.005, Digits: 2}}}}}
}

// small is a plan with a statement and two readings, one of them witnessed.
func small() *plan.Plan {
	cells := plan.Input{Name: "packs.left.cells.series", Lo: 96, Hi: 96, Dim: quantity.One}
	top := plan.Input{Name: "packs.left.cells.max", Lo: 4.1, Hi: 4.2, Dim: quantity.Volt}
	return &plan.Plan{
		Car: "Sandpiper", Procedure: "pack_voltages", Title: "Pack voltages", Stage: "C", Purpose: "Cells times count.",
		Proves: []plan.Proof{{ID: "pack_voltages", Parts: []string{"packs.left", "packs.right"}, HoldsDays: 30}},
		People: 2, CarVoltage: 403.2, Prerequisites: []string{"isolation_parts"},
		Protective: []plan.Text{{ID: "gloves", Text: "Gloves."}}, MakeSafe: []string{"Press the emergency-off."},
		Files: []plan.File{{Name: "vehicle.yaml", Origin: plan.Own, Digest: digestOf("vehicle.yaml")},
			{Name: "procedures/pack_voltages.yaml", Origin: plan.Shipped, Digest: digestOf("procedures/pack_voltages.yaml")}},
		Steps: []plan.Step{
			{Path: "covers", Kind: plan.Observe, Text: "Are the covers on?", IfFailed: plan.Stop, Expect: "on", Choices: []string{"on", "off"}},
			{Path: "left.poles", Kind: plan.Measure, Text: "Pole to pole.", IfFailed: plan.MakeSafeStop, Dim: quantity.Volt, Role: "voltmeter",
				Parts: []string{"packs.left"}, State: []plan.State{{Name: "packs", Value: "in"}}, UnfitMeter: plan.RefuseMeter,
				Bounds: []plan.Bound{
					{ID: "pack_voltage", Rules: "workshop", Bound: quantity.Bound{Kind: quantity.AtLeast, Low: 288, Dim: quantity.Volt},
						Formula: "packs.left.min_voltage", Substituted: "288 V", Exactness: "exact", Inputs: []plan.Input{cells}, Governs: true},
					{ID: "left.poles", Bound: quantity.Bound{Kind: quantity.Expected, Low: 280, High: 403.2, Dim: quantity.Volt},
						Formula: "packs.left.max_voltage", Substituted: "403.2 V", Exactness: "exact", Inputs: []plan.Input{top}},
				}},
			{Path: "right.poles", Kind: plan.Measure, Text: "Pole to pole.", IfFailed: plan.Stop, Dim: quantity.Volt, Role: "voltmeter",
				Parts: []string{"packs.right"}, Witness: true, UnfitMeter: plan.RefuseMeter,
				Bounds: []plan.Bound{{ID: "pack_voltage", Rules: "workshop", Bound: quantity.Bound{Kind: quantity.AtLeast, Low: 288, Dim: quantity.Volt},
					Formula: "packs.right.min_voltage", Substituted: "288 V", Exactness: "exact", Governs: true}}},
		},
		SignOut: 3,
	}
}

// digestOf is the digest of a file that holds nothing but its name, as all
// files do here.
func digestOf(name string) string { return fmt.Sprintf("%x", sha256.Sum256([]byte(name))) }

// begin begins a run of the plan; change may alter what it begins with.
func (b *bench) begin(p *plan.Plan, in measure.Instrument, change ...func(*run.Start)) *run.Machine {
	b.t.Helper()
	text, err := plan.Marshal(p)
	require.NoError(b.t, err)
	meters, err := measure.MarshalInstruments([]measure.Instrument{in})
	require.NoError(b.t, err)
	s := run.Start{Plan: p, Operator: ledgertest.Mills, Witness: ledgertest.Okoro, Instruments: map[string]string{"voltmeter": in.ID},
		Meters: []measure.Instrument{in}, Date: b.now.Format(time.DateOnly)}
	for _, f := range p.Files {
		digest, err := b.st.PutBlob(b.t.Context(), []byte(f.Name))
		require.NoError(b.t, err)
		s.Files = append(s.Files, digest)
	}
	for _, c := range change {
		c(&s)
	}
	s.PlanHash, err = b.st.PutBlob(b.t.Context(), text)
	require.NoError(b.t, err)
	s.MetersHash, err = b.st.PutBlob(b.t.Context(), meters)
	require.NoError(b.t, err)
	e := b.add(s.Body(), s.Operator)
	return b.history.Run(run.ID(e.Origin, e.Index))
}

// typed is what is typed at the steps, several for repeated ones.
type typed map[string][]run.Answer

func read(texts ...string) []run.Answer {
	var out []run.Answer
	for _, t := range texts {
		out = append(out, run.Answer{Text: t, Confirm: true, Reason: "once more"})
	}
	return out
}

func good() typed {
	return typed{"covers": read("on"), "left.poles:state": read("packs: in"), "left.poles": read("362.4 V"),
		"right.poles": read("361.9 V"), "right.poles:witness": read("seen")}
}

// drive takes the run on until it ends or an answer is missing. confirmed
// answers are marked as asked back only where they were.
func (b *bench) drive(m *run.Machine, given typed) {
	b.t.Helper()
	for {
		p := m.Next()
		var a run.Answer
		switch p.Kind {
		case run.Finished:
			return
		case run.Automatic:
		case run.AskAgain:
			a = run.Answer{Again: len(given[p.Step.Path]) > 0, Decline: len(given[p.Step.Path]) == 0, Reason: "the probe slipped", Cause: "a worn tip"}
		default:
			list := given[p.Key]
			if len(list) == 0 {
				return
			}
			a, given[p.Key] = list[0], list[1:]
		}
		a.At = b.now
		confirm := a.Confirm
		a.Confirm = false
		bodies, err := m.Answer(p, a)
		if _, back := err.(*run.AskBack); back && confirm {
			a.Confirm = true
			bodies, err = m.Answer(p, a)
		}
		require.NoError(b.t, err)
		for _, body := range bodies {
			b.add(body, p.Person)
		}
	}
}

// passed runs a plan to its end, as good answers do.
func (b *bench) passed(p *plan.Plan, in measure.Instrument) *run.Machine {
	b.t.Helper()
	m := b.begin(p, in)
	require.NotNil(b.t, m)
	b.drive(m, good())
	require.Equal(b.t, run.Passed, m.Outcome())
	return m
}

// remarks verifies the log, which must be whole, and gives the remarks.
func (b *bench) remarks() []Remark {
	b.t.Helper()
	a := New(func(d [32]byte) ([]byte, error) { return b.st.Blob(b.t.Context(), d) })
	r, err := ledger.Verify(b.t.Context(), b.st, ledgertest.Origin, ledger.VerifyOptions{Observer: a.Observe})
	require.NoError(b.t, err)
	require.Empty(b.t, r.Faults, "remarks are on logs that verify")
	return a.Remarks()
}

// codes gives the remarks' codes, each once, in order.
func codes(remarks []Remark) []string {
	list := []string{}
	for _, r := range remarks {
		list = append(list, r.Code)
	}
	slices.Sort(list)
	return slices.Compact(list)
}

func sentence(t *testing.T, remarks []Remark, code string) string {
	t.Helper()
	for _, r := range remarks {
		if r.Code == code {
			return r.Sentence
		}
	}
	require.Fail(t, "no remark "+code)
	return ""
}
