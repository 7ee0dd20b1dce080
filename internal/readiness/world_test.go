package readiness_test

import (
	"crypto/sha256"
	"slices"
	"strings"
	"time"

	"hvproof/internal/entry"
	"hvproof/internal/measure"
	"hvproof/internal/plan"
	"hvproof/internal/quantity"
	"hvproof/internal/readiness"
	"hvproof/internal/rework"
	"hvproof/internal/run"
)

// fataler is a test or a property.
type fataler interface {
	Fatalf(format string, a ...any)
}

const origin = "hvproof/wren/dev/abcd/practice"

// A world is a log in the making, without signatures: what readiness sees.
type world struct {
	t     fataler
	log   readiness.Log
	blobs map[[32]byte][]byte
	next  int64
	now   time.Time
	meter measure.Instrument

	blocks [][]recorded // what was recorded, one block for each run, work or other entry
}

// recorded is an entry as it was folded.
type recorded struct {
	entry.Entry
	leaf   [32]byte
	signer string
}

func newWorld(t fataler) *world {
	w := &world{t: t, blobs: map[[32]byte][]byte{}, now: time.Date(2027, 3, 20, 9, 0, 0, 0, time.UTC)}
	w.meter = measure.Instrument{ID: "meter-1", Kind: "multimeter", Category: "CAT III", MaxVoltage: 1000, CalibratedUntil: "2030-12-31",
		Roles: []string{"ohmmeter"}, Functions: []measure.Function{{Name: "ohms", Dim: quantity.Ohm,
			Ranges: []measure.MeterRange{{To: 1000, Digit: 0.001, PercentOfReading: 0.01, Digits: 2}}}}}
	w.log = readiness.Log{Record: readiness.NewRecord(), Runs: run.NewHistory(func(d [32]byte) ([]byte, error) { return w.blobs[d], nil })}
	return w
}

func (w *world) blob(b []byte) [32]byte {
	d := sha256.Sum256(b)
	w.blobs[d] = b
	return d
}

func leafOf(index int64) [32]byte {
	return sha256.Sum256([]byte{byte(index), byte(index >> 8), byte(index >> 16)})
}

// add folds an entry, a second after the last one.
func (w *world) add(b entry.Body, signer string) entry.Entry {
	w.now = w.now.Add(time.Second)
	e := entry.Entry{Header: entry.Header{Origin: origin, Index: w.next, Time: w.now, Zone: "+00:00"}, Body: b}
	leaf := leafOf(w.next)
	w.next++
	if last := len(w.blocks) - 1; e.Run != "" && last >= 0 && run.ID(origin, w.blocks[last][0].Index) == e.Run {
		w.blocks[last] = append(w.blocks[last], recorded{e, leaf, signer})
	} else {
		w.blocks = append(w.blocks, []recorded{{e, leaf, signer}})
	}
	w.log.Record.Apply(e, leaf, signer)
	if err := w.log.Runs.Apply(e, leaf, signer); err != nil {
		w.t.Fatalf("fold: %v", err)
	}
	return e
}

// begin begins a run of a plan.
func (w *world) begin(p *plan.Plan) *run.Machine {
	text, err := plan.Marshal(p)
	if err != nil {
		w.t.Fatalf("plan: %v", err)
	}
	meters, err := measure.MarshalInstruments([]measure.Instrument{w.meter})
	if err != nil {
		w.t.Fatalf("meters: %v", err)
	}
	s := run.Start{Plan: p, PlanHash: w.blob(text), MetersHash: w.blob(meters), Operator: "mills", Witness: "okoro", Practice: true,
		Instruments: map[string]string{"ohmmeter": "meter-1"}, Date: w.now.Format(time.DateOnly)}
	e := w.add(s.Body(), "mills")
	return w.log.Runs.Run(run.ID(origin, e.Index))
}

// run drives a plan to its end; the steps named in wrong are answered wrongly
// and left failed, those in read with another value than 10 Ω.
func (w *world) run(p *plan.Plan, wrong []string, read map[string]string) *run.Machine {
	m := w.begin(p)
	w.drive(m, wrong, read)
	return m
}

func (w *world) drive(m *run.Machine, wrong []string, read map[string]string) {
	for range 10 * plan.MaxSteps {
		q := m.Next()
		a := run.Answer{At: w.now.Add(time.Second), Confirm: true}
		switch q.Kind {
		case run.Finished:
			return
		case run.AskStatement:
			a.Text = q.Step.Expect
			if slices.Contains(wrong, q.Step.Path) {
				a.Text = q.Step.Choices[0]
			}
		case run.AskReading:
			a.Text = "10.000 Ω"
			if text, ok := read[q.Step.Path]; ok {
				a.Text = text
			}
			if slices.Contains(wrong, q.Step.Path) {
				a.Text = "900.0 Ω"
			}
		case run.AskState:
			for _, st := range q.State {
				a.Text += st.Name + ": " + st.Value + "; "
			}
			a.Text = strings.TrimSuffix(a.Text, "; ")
		case run.AskAgain:
			a.Decline, a.Reason = true, "seen"
		case run.AskWitness:
			a.Text = run.Seen
		}
		bodies, err := m.Answer(q, a)
		if err != nil {
			w.t.Fatalf("%s: %v", q.Key, err)
		}
		for _, b := range bodies {
			w.add(b, q.Person)
		}
	}
}

// work records work on the HV system, with the effects that a book gives.
func (w *world) work(book *rework.Book, car rework.Car, kind string, parts []string, reqs []readiness.Requirement) {
	var proofs []rework.Proof
	for _, r := range reqs {
		proofs = append(proofs, rework.Proof{ID: r.Proof, Parts: r.Parts()})
	}
	b := entry.Body{Kind: entry.Rework}
	b.Add("text", kind)
	b.Add("work", kind)
	b.AddFamily("part", parts...)
	var voids, keeps []string
	for _, e := range book.Effects(car, kind, parts, proofs) {
		if e.Kept {
			keeps = append(keeps, e.Proof+": "+e.Reason)
			continue
		}
		voids = append(voids, readiness.Voiding{Proof: e.Proof, Parts: e.Parts, Reason: e.Reason}.String())
	}
	b.AddFamily("void", voids...)
	b.AddFamily("keep", keeps...)
	w.add(b, "mills")
}

func (w *world) proofs(reqs []readiness.Requirement) []readiness.Proof {
	return readiness.Proofs(w.log, reqs, w.now)
}

func (w *world) state(reqs []readiness.Requirement, proof string) readiness.Proof {
	for _, p := range w.proofs(reqs) {
		if p.Proof == proof {
			return p
		}
	}
	w.t.Fatalf("no proof %s", proof)
	return readiness.Proof{}
}

// confirm is a step that says a state.
func confirm(path string, parts []string, items ...string) plan.Step {
	return plan.Step{Path: path, Kind: plan.Confirm, Text: "Look at " + path + ".", IfFailed: plan.Note, Items: items, Parts: parts,
		Expect: "yes", Choices: []string{"no", "yes"}}
}

// ohms is a step that reads at most 100 Ω, a limit that rests on a value of
// the car.
func ohms(path, value string, parts []string, items ...string) plan.Step {
	return plan.Step{Path: path, Kind: plan.Measure, Text: "Read " + path + ".", IfFailed: plan.Note, Items: items, Parts: parts,
		Dim: quantity.Ohm, Role: "ohmmeter", UnfitMeter: plan.RefuseMeter,
		Bounds: []plan.Bound{{ID: path, Bound: quantity.Bound{Kind: quantity.AtMost, High: 100, Dim: quantity.Ohm}, Formula: value, Substituted: "100 Ω",
			Exactness: "exact", Governs: true, Rule: measure.GuardBand, Inputs: []plan.Input{{Name: value, Lo: 100, Hi: 100, Dim: quantity.Ohm}}}}}
}

// car is a small car: contactors in two packs, devices, and the procedures of
// three stages over them.
type car struct {
	contactors, devices []string
}

func (c car) Parts() []string {
	out := []string{"packs.left", "packs.right", "drive", "dc_link", "precharge", "low_voltage", rework.Whole}
	for _, x := range c.contactors {
		out = append(out, "contactors."+x)
	}
	for _, x := range c.devices {
		out = append(out, "shutdown."+x)
	}
	return out
}

func (c car) Text(path string) string {
	for i, x := range c.contactors {
		if path == "contactors."+x+".pack" {
			return []string{"left", "right"}[i%2]
		}
	}
	return ""
}

// requirements are the procedures of the car, unrolled.
func (c car) requirements() []readiness.Requirement {
	matrix := func(p *plan.Plan) {
		for _, d := range c.devices {
			p.Steps = append(p.Steps, confirm(d+".operated", []string{"shutdown." + d}, d))
			for _, k := range c.contactors {
				p.Steps = append(p.Steps, confirm(d+"."+k+".opens", []string{"shutdown." + d, "contactors." + k}, d, d+"."+k))
			}
		}
	}
	each := func(collection string, names []string) func(*plan.Plan) {
		return func(p *plan.Plan) {
			for _, x := range names {
				p.Steps = append(p.Steps, ohms(x+".value", "limits."+p.Procedure, []string{collection + "." + x}, x))
			}
		}
	}
	packs := []string{"left", "right"}
	var out []readiness.Requirement
	add := func(id, stage string, parts []string, days int, fill func(*plan.Plan), before ...string) {
		p := &plan.Plan{Car: "Wren", Procedure: id, Title: id, Stage: stage, People: 1, Practice: true, Prerequisites: before,
			Proves: []plan.Proof{{ID: id, Parts: parts, HoldsDays: days}}, Steps: []plan.Step{confirm("sign_in", nil)}}
		fill(p)
		p.Steps = append(p.Steps, confirm("sign_out", nil))
		p.SignOut = len(p.Steps) - 1
		out = append(out, readiness.Requirement{Proof: id, Procedure: id, Stage: stage, Required: stage < "D", Today: p})
	}
	all := append(prefixed("shutdown.", c.devices), prefixed("contactors.", c.contactors)...)
	add("shutdown_cold", "A", all, 100, matrix)
	add("contactor_function", "A", prefixed("contactors.", c.contactors), 0, each("contactors", c.contactors), "shutdown_cold")
	add("isolation_pack", "C", prefixed("packs.", packs), 50, each("packs", packs), "contactor_function")
	add("precharge", "C", append([]string{"precharge", "dc_link"}, prefixed("contactors.", c.contactors)...), 0, func(p *plan.Plan) {
		p.Steps = append(p.Steps, ohms("ramp", "precharge.resistance", []string{"precharge", "dc_link"}))
	}, "isolation_pack")
	add("isolation_whole", "C", []string{rework.Whole}, 0, func(p *plan.Plan) {
		p.Steps = append(p.Steps, ohms("whole", "system.max_voltage", []string{rework.Whole}))
	}, "precharge", "isolation_pack")
	add("emergency_off", "C", append(all, "dc_link"), 0, matrix, "precharge")
	add("first_spin", "D", []string{"drive"}, 0, func(p *plan.Plan) {
		p.Steps = append(p.Steps, confirm("spin", []string{"drive"}))
	}, "emergency_off", "isolation_whole")
	return out
}

func prefixed(prefix string, names []string) []string {
	var out []string
	for _, n := range names {
		out = append(out, prefix+n)
	}
	return out
}

var wren = car{[]string{"left_plus", "right_plus", "left_minus"}, []string{"cabin", "outside"}}
