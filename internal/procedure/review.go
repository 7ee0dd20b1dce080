package procedure

import (
	"slices"
	"strings"

	"hvproof/internal/plan"
	"hvproof/internal/quantity"
	"hvproof/internal/vehicle"
	"hvproof/internal/yamlfile"
)

// review checks the unrolled procedure as a whole: what can be dangerous or
// worth nothing although every step is right by itself.
func (w *walk) review(p *Procedure) {
	if w.faults.list.Errors() {
		return // only follow-ups would come of it
	}
	sc := scope{file: p.file}
	if len(w.plan.Steps) == 0 {
		w.errorf(sc, p.name(), "add steps", "the procedure has no step for this car")
		return
	}
	w.live(p, sc)
	w.evidence(p, sc)
	for i := range w.plan.Steps {
		s := &w.plan.Steps[i]
		if s.NotApplicable != "" {
			continue
		}
		at := scope{file: w.origins[i].file}
		w.people(s, at, w.origins[i].at)
		w.joinedPole(s, at, w.origins[i].at)
	}
	w.leads()
}

// live asks for what live work needs.
func (w *walk) live(p *Procedure, sc scope) {
	if !given(p.w.Live) && (p.Stage == "C" || p.Stage == "D") {
		w.warnf(sc, p.w.Stage, "write live: true, or live: false if nothing in it can be under voltage",
			"a procedure of stage %s that does not say whether it is live", p.Stage)
	}
	if !p.live {
		return
	}
	if p.Stage == "A" {
		w.warnf(sc, p.w.Live, "stage: B for low energy, C for the first pack", "a live procedure in stage A, where the packs are unplugged")
	}
	if len(p.w.MakeSafe) == 0 {
		w.errorf(sc, p.name(), "add make_safe: and the actions in their order", "a live procedure without make-safe actions")
	}
	if p.people < 2 {
		w.errorf(sc, p.name(), "add people: {least: 2}", "a live procedure for one person alone")
	}
	if !slices.ContainsFunc(w.plan.Steps, func(s plan.Step) bool {
		return s.Kind == plan.Hold || strings.Contains(s.Path, "time_out")
	}) {
		w.warnf(sc, p.name(), "add a hold step, or include the block time_out", "a live procedure without a hold or a time-out before power")
	}
}

// evidence refuses a procedure that would prove something by nothing.
func (w *walk) evidence(p *Procedure, sc scope) {
	if p.w.Proves.Len() == 0 {
		return
	}
	says, measures, measured := false, false, false
	for i, s := range w.plan.Steps {
		if i >= w.plan.SignOut || !finds(&s) {
			continue
		}
		number := s.TakesMeter() || s.Kind == plan.Compute
		measures = measures || number
		if s.NotApplicable != "" {
			continue
		}
		measured, says = measured || number, true
	}
	switch {
	case !says:
		w.errorf(sc, p.name(), "add measure, observe or confirm steps", "the procedure proves something without a step that finds anything out")
	case measures && !measured && w.lacksValues(): // said in the proof's own place
	case measures && !measured:
		w.lack(sc, p.name(), "give the procedure applies_if", "none of what the procedure measures applies to this car, so that it proves nothing")
	}
}

// people asks for the second person that a step needs.
func (w *walk) people(s *plan.Step, sc scope, at yamlfile.Scalar) {
	if w.plan.People < 2 && s.Witness {
		w.errorf(sc, at, "add people: {least: 2} to the procedure", "a witness is a second person, and the procedure asks for one person only")
	}
	if w.plan.People < 2 && s.Kind == plan.Hold {
		w.errorf(sc, at, "add people: {least: 2} to the procedure", "a hold is released by another person, and the procedure asks for one person only")
	}
	if s.IfFailed == plan.MakeSafeStop && len(w.plan.MakeSafe) == 0 {
		w.errorf(sc, at, "add make_safe: to the procedure", "if_failed: make_safe, and the procedure has no make-safe actions")
	}
}

// joinedPole refuses to join the poles of a part that has a voltage source:
// that is a dead short, and on one pole a tester misreads.
func (w *walk) joinedPole(s *plan.Step, sc scope, at yamlfile.Scalar) {
	method, limit := s.Method, ""
	for _, b := range s.Bounds {
		if b.Method != "" && method == "" {
			method = b.Method
		}
		if isolation(b) {
			limit = b.ID
		}
	}
	if limit != "" && method == "" {
		w.errorf(sc, at, "add method: "+TwoVoltage+" or "+JoinedPole, "isolation is measured by a method that is not named (limit %s)", limit)
		return
	}
	if method == "" && s.Kind == plan.Measure && leastResistance(s) {
		for _, part := range s.Parts {
			if part == vehicle.Whole || strings.HasPrefix(part, "packs.") {
				w.errorf(sc, at, "add method: "+TwoVoltage, "a least resistance of %s, which has a source, by a method that is not named", part)
			}
		}
	}
	if method != JoinedPole {
		return
	}
	if len(s.Parts) == 0 {
		w.errorf(sc, at, "add part: and what is measured", "a measurement with joined poles does not name its part")
	}
	for _, part := range s.Parts {
		if w.car.IsSource(part) {
			w.errorf(sc, at, "method: "+TwoVoltage, "isolation with joined poles on %s, which has a source: joining its poles is a short circuit", part)
		}
	}
}

// leastResistance reports whether a step asks for a resistance of at least
// something: isolation, by whatever name.
func leastResistance(s *plan.Step) bool {
	return s.Dim == quantity.Ohm && slices.ContainsFunc(s.Limits(), func(b plan.Bound) bool { return b.Kind == quantity.AtLeast })
}

// isolation reports whether a bound is a rule book's limit of isolation.
func isolation(b plan.Bound) bool {
	return about(b, "isolation_") || about(b, "insulation_")
}

// about reports whether a bound is a resistance limit of a rule book with an
// id that begins so. The id of a limit written in a step is the step's path,
// which says nothing.
func about(b plan.Bound, prefix string) bool {
	return b.Rules != "" && b.Dim == quantity.Ohm && strings.HasPrefix(b.ID, prefix)
}

// leads warns of isolation, bonding and pyro measurements that are not
// bracketed by lead checks with the same instrument: an open lead reads as
// perfect isolation.
func (w *walk) leads() {
	for i := range w.plan.Steps {
		s := &w.plan.Steps[i]
		if s.NotApplicable != "" || !w.critical(s) {
			continue
		}
		for _, j := range w.readings(i) {
			role := w.plan.Steps[j].Role
			if w.leadCheck(0, j, role, plan.Before) && w.leadCheck(j+1, len(w.plan.Steps), role, plan.After) {
				continue
			}
			o := w.origins[i]
			w.warnf(scope{file: o.file}, o.at, "add measure steps with lead_check: before and lead_check: after",
				"the leads of %s are not checked before and after; an open lead reads as perfect isolation", role)
			break
		}
	}
}

// critical reports whether a bad lead would make the step pass or mislead.
func (w *walk) critical(s *plan.Step) bool {
	if s.LeadCheck != "" {
		return false
	}
	return s.Method == JoinedPole || s.Function == "isolation_two_voltage" || slices.ContainsFunc(s.Bounds, func(b plan.Bound) bool {
		return isolation(b) || about(b, "bonding") || about(b, "pyro")
	})
}

// readings gives the readings that a step rests on, itself or its arguments.
func (w *walk) readings(i int) []int {
	s := &w.plan.Steps[i]
	if s.Kind == plan.Measure {
		return []int{i}
	}
	var out []int
	for _, a := range s.From {
		if j, ok := w.index[a.Step]; ok && w.plan.Steps[j].Kind == plan.Measure {
			out = append(out, j)
		}
	}
	return out
}

func (w *walk) leadCheck(from, to int, role, when string) bool {
	for _, s := range w.plan.Steps[from:to] {
		if s.LeadCheck == when && s.Role == role && s.NotApplicable == "" {
			return true
		}
	}
	return false
}
