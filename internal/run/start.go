package run

import (
	"encoding/hex"
	"fmt"
	"slices"
	"sort"

	"hvproof/internal/entry"
	"hvproof/internal/measure"
	"hvproof/internal/plan"
	"hvproof/internal/quantity"
)

// A Start is what a run begins with.
type Start struct {
	Plan       *plan.Plan
	PlanHash   [32]byte // SHA-256 of the plan's text, a blob of the log
	MetersHash [32]byte // SHA-256 of the instruments' text, a blob of the log

	// Files are the SHA-256 of the files that the plan was made from, blobs of
	// the log, in the order of the plan. Older runs carry none.
	Files [][32]byte

	Operator, Witness, Releaser string   // ids; empty where nobody
	Others                      []string // further people, such as a safety watch

	Instruments map[string]string    // role to instrument id
	Meters      []measure.Instrument // the instruments of the run, with their data

	// Workshop, Customer and Place say who tests, for whom and where, in the
	// words of the car's file (ISO/IEC 17025:2017, 7.8.2.1 b, c, e); empty where
	// it does not say, and in older runs.
	Workshop, Customer, Place string

	Practice  bool
	Rehearsal bool
	Abandons  string // id of an unfinished run that this one replaces
	Date      string // local date of the start, YYYY-MM-DD
}

// Meter gives the instrument chosen for a step and the function that takes
// its reading; nil where the run has none.
func (s *Start) Meter(step *plan.Step) (*measure.Instrument, *measure.Function) {
	return s.meterAs(step.Role, step)
}

// meterAs gives the instrument that has a role of a step, with its function.
func (s *Start) meterAs(role string, step *plan.Step) (*measure.Instrument, *measure.Function) {
	id := s.Instruments[role]
	for i := range s.Meters {
		if s.Meters[i].ID == id {
			return &s.Meters[i], pickFunction(&s.Meters[i], step)
		}
	}
	return nil, nil
}

// Recorders gives the instruments that record a capture by the channels' roles,
// the step's own as "".
func (s *Start) Recorders(step *plan.Step) map[string]measure.Instrument {
	out := map[string]measure.Instrument{}
	if in, _ := s.Meter(step); in != nil {
		out[""] = *in
	}
	for _, r := range step.Recorders {
		if in, _ := s.meterAs(r.Role, step); in != nil {
			out[r.Channel] = *in
		}
	}
	return out
}

// pickFunction gives the function of a meter for a step: of the step's
// dimension and method, the first that meets every limit's test voltage and
// current, else the first. A step that names no method takes a function
// without one; failing that any, but for volts and amperes, where the method
// says what kind of voltage or current it is.
func pickFunction(in *measure.Instrument, step *plan.Step) *measure.Function {
	if step.Kind == plan.Capture {
		if f := recording(in); f != nil {
			return f
		}
		return byHand(in)
	}
	f := firstFitting(in, step, func(f *measure.Function) bool { return f.Method == step.Method })
	if f == nil && step.Method == "" && step.Dim != quantity.Volt && step.Dim != quantity.Ampere {
		f = firstFitting(in, step, func(*measure.Function) bool { return true })
	}
	return f
}

// recording gives the function of a scope or logger that stands for it: volts,
// else amperes.
func recording(in *measure.Instrument) *measure.Function {
	for _, d := range []quantity.Dim{quantity.Volt, quantity.Ampere} {
		for i := range in.Functions {
			if in.Functions[i].Dim == d {
				return &in.Functions[i]
			}
		}
	}
	return nil
}

// byHand gives the function of a stopwatch, nil if the instrument is none.
func byHand(in *measure.Instrument) *measure.Function {
	for i := range in.Functions {
		if in.Functions[i].ByHand && in.Functions[i].Dim == quantity.Second {
			return &in.Functions[i]
		}
	}
	return nil
}

func firstFitting(in *measure.Instrument, step *plan.Step, want func(*measure.Function) bool) *measure.Function {
	var first *measure.Function
	for i := range in.Functions {
		f := &in.Functions[i]
		if f.Dim != step.Dim || !want(f) {
			continue
		}
		if first == nil {
			first = f
		}
		if len(measure.FunctionRefusals(*f, needOf(step))) == 0 && fits(step, f) {
			return f
		}
	}
	return first
}

// fits reports whether every governing limit accepts the function.
func fits(step *plan.Step, f *measure.Function) bool {
	for _, b := range step.Limits() {
		if unfit(step, &b, f) != "" {
			return false
		}
	}
	return true
}

// needOf gives what a step itself asks of a meter's function.
func needOf(step *plan.Step) measure.Need {
	return measure.Need{MinTestVoltage: step.MinTestVoltage, MinTestCurrent: step.MinTestCurrent, MaxTestCurrent: step.MaxTestCurrent}
}

// refusals gives, in plain sentences, why the meters chosen for a step must
// not count on the date.
func (s *Start) refusals(step *plan.Step, date string) []string {
	var out []string
	for _, role := range step.Roles() {
		out = append(out, s.refusalsAs(role, step, date)...)
	}
	return out
}

func (s *Start) refusalsAs(role string, step *plan.Step, date string) []string {
	in, f := s.meterAs(role, step)
	if in == nil {
		return []string{fmt.Sprintf("no instrument was chosen for the role %s", role)}
	}
	if f == nil {
		unit := step.Dim.String()
		if step.Kind == plan.Capture {
			unit = "V or A"
		}
		if step.Method != "" {
			unit += " by the " + step.Method + " method"
		}
		return []string{fmt.Sprintf("%s has no function that reads %s", in.ID, unit)}
	}
	need := needOf(step)
	need.Date = date
	if step.Dim == quantity.Volt || s.Plan.Live || f.TestVoltage > 0 {
		need.Voltage = s.Plan.CarVoltage
	}
	var out []string
	for _, r := range measure.Usable(*in, *f, need) {
		out = append(out, r.Sentence)
	}
	return out
}

// Refusals gives every reason why the run must not begin, in plain
// sentences; none means that it may. Prerequisites are the caller's.
func (s *Start) Refusals() []string {
	var out []string
	p := s.Plan
	if p.NotApplicable != "" {
		out = append(out, "the procedure does not apply to this car: "+p.NotApplicable)
	}
	out = append(out, s.peopleRefusals()...)
	seen := map[string]bool{}
	say := func(step *plan.Step, sentence string) {
		if !seen[sentence] {
			seen[sentence] = true
			out = append(out, fmt.Sprintf("%s: %s", step.Path, sentence))
		}
	}
	for i := range p.Steps {
		step := &p.Steps[i]
		if step.NotApplicable != "" || step.UnfitMeter == plan.MarkMeter || !step.TakesMeter() {
			continue
		}
		why := s.refusals(step, s.Date)
		for _, w := range why {
			say(step, w)
		}
		if len(why) > 0 {
			continue
		}
		in, f := s.Meter(step)
		for _, o := range Outlooks(step, f) {
			if o.Hopeless {
				say(step, fmt.Sprintf("%s cannot decide %s: %s", in.ID, o.Bound.Bound, o.Why))
			}
		}
	}
	return out
}

func (s *Start) peopleRefusals() []string {
	var out []string
	all := map[string]bool{}
	for _, id := range append([]string{s.Operator, s.Witness, s.Releaser}, s.Others...) {
		if id != "" {
			all[id] = true
		}
	}
	if len(all) < s.Plan.People {
		out = append(out, fmt.Sprintf("the procedure needs %d people, and %d are here", s.Plan.People, len(all)))
	}
	if s.Operator != "" && s.Operator == s.Witness {
		out = append(out, s.Operator+" cannot be operator and witness of one run")
	}
	var witness, hold bool
	for i := range s.Plan.Steps {
		st := &s.Plan.Steps[i]
		if st.NotApplicable == "" {
			witness, hold = witness || st.Witness, hold || st.Kind == plan.Hold
		}
	}
	if s.Operator == "" {
		out = append(out, "no operator was named")
	}
	if witness && s.Witness == "" {
		out = append(out, "a step must be witnessed, and no witness was named")
	}
	switch {
	case hold && s.Releaser == "":
		out = append(out, "a hold point must be released, and no releaser was named")
	case hold && s.Releaser == s.Operator:
		out = append(out, s.Operator+" cannot release the hold points of a run that the same person operates")
	}
	return out
}

// Body gives the run's first entry.
func (s *Start) Body() entry.Body {
	b := entry.Body{Kind: entry.RunStart}
	b.Add("procedure", s.Plan.Procedure)
	b.Add("plan", hex.EncodeToString(s.PlanHash[:]))
	b.Add("meters", hex.EncodeToString(s.MetersHash[:]))
	b.AddYes("practice", s.Practice)
	b.AddYes("rehearsal", s.Rehearsal)
	b.Add("date", s.Date)
	b.Add("operator", s.Operator)
	b.Add("witness", s.Witness)
	b.Add("releaser", s.Releaser)
	b.AddFamily("person", s.Others...)
	var chosen []string
	for _, role := range sortedKeys(s.Instruments) {
		chosen = append(chosen, role+" "+s.Instruments[role])
	}
	b.AddFamily("instrument", chosen...)
	b.Add("abandons", s.Abandons)
	var files []string
	for _, digest := range s.Files {
		files = append(files, hex.EncodeToString(digest[:]))
	}
	b.AddFamily("file", files...)
	b.Add("workshop", s.Workshop)
	b.Add("customer", s.Customer)
	b.Add("place", s.Place)
	return b
}

// ReadStart reads what Body wrote; the plan and the meters come from the
// blobs that it names.
func ReadStart(b entry.Body, p *plan.Plan, meters []measure.Instrument) Start {
	s := Start{Plan: p, Meters: meters, Instruments: map[string]string{}}
	s.Operator, s.Witness, s.Releaser = b.Text("operator"), b.Text("witness"), b.Text("releaser")
	s.Date, s.Abandons = b.Text("date"), b.Text("abandons")
	s.Workshop, s.Customer, s.Place = b.Text("workshop"), b.Text("customer"), b.Text("place")
	s.Others = b.Family("person")
	s.Practice, s.Rehearsal = b.Yes("practice"), b.Yes("rehearsal")
	for _, v := range b.Family("instrument") {
		if role, id, ok := cutWord(v); ok {
			s.Instruments[role] = id
		}
	}
	files := b.Family("file")
	s.Files = make([][32]byte, 0, len(files))
	for _, v := range files {
		var raw [32]byte
		if n, err := hex.Decode(raw[:], []byte(v)[:min(len(v), 64)]); err == nil && n == 32 && len(v) == 64 {
			s.Files = append(s.Files, raw)
		}
	}
	return s
}

func cutWord(v string) (first, rest string, ok bool) {
	for i := range v {
		if v[i] == ' ' {
			return v[:i], v[i+1:], true
		}
	}
	return v, "", false
}

func sortedKeys(m map[string]string) []string {
	keys := make([]string, 0, len(m))
	for k := range m {
		keys = append(keys, k)
	}
	sort.Strings(keys)
	return keys
}

// Roles gives the instrument roles that the steps of a plan ask for, in
// order of first use.
func Roles(p *plan.Plan) []string {
	var out []string
	for i := range p.Steps {
		s := &p.Steps[i]
		if s.NotApplicable != "" {
			continue
		}
		for _, role := range s.Roles() {
			if !slices.Contains(out, role) {
				out = append(out, role)
			}
		}
	}
	return out
}

// MeterRefusals gives why the meter chosen for a role must not count at some
// step on the date of the start.
func (s *Start) MeterRefusals(role string) []string {
	var out []string
	s.each(role, func(step *plan.Step) {
		for _, why := range s.refusalsAs(role, step, s.Date) {
			if !slices.Contains(out, why) {
				out = append(out, why)
			}
		}
	})
	return out
}

// MeterOutlook gives what the meter chosen for a role can do for each limit
// of the role's steps.
func (s *Start) MeterOutlook(role string) []Outlook {
	var out []Outlook
	s.each(role, func(step *plan.Step) {
		_, f := s.meterAs(role, step)
		out = append(out, Outlooks(step, f)...)
	})
	return out
}

func (s *Start) each(role string, do func(*plan.Step)) {
	for i := range s.Plan.Steps {
		if step := &s.Plan.Steps[i]; step.NotApplicable == "" && slices.Contains(step.Roles(), role) {
			do(step)
		}
	}
}
