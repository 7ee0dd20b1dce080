package report

import (
	"fmt"
	"slices"
	"time"

	"hvproof/internal/readiness"
	"hvproof/internal/run"
)

// Car makes the report of the whole car: every proof with its state, why
// power may not come on (none of the reasons: it may), and then each run that
// a proof rests on.
func Car(h *run.History, proofs []readiness.Proof, reasons []string, src Source) *Report {
	runs := rested(h, proofs)
	summary, practice := src.carSummary(runs, proofs, reasons, nil)
	parts := []Part{summary}
	shown := map[string]string{} // files, the run that lists them
	for _, m := range runs {
		c := newCourse(m, &src)
		files := c.fileSection()
		key := fmt.Sprint(m.Plan().Files)
		if first, ok := shown[key]; ok {
			files.Blocks = []Block{Paragraph("The same as those of run " + first + ", to the byte.")}
		} else {
			shown[key] = m.ID()
		}
		parts = append(parts, Part{Title: "Run " + m.ID() + ": " + m.Plan().Title, Sections: slices.Concat([]Section{
			{Title: "Result", Blocks: []Block{c.result()}}, c.look(), c.work()}, c.sections(), []Section{files})})
	}
	return &Report{
		Title:   "Test report: state of the whole car",
		Subject: src.car(),
		Mark:    src.mark(practice, false),
		Parts:   append(parts, Part{Title: "Record", Sections: []Section{decided(runs...), src.keys(), src.proof(), cautions(), end()}}),
	}
}

// carSummary begins a report of the whole car: the answer, and all that nobody
// may overlook. about, where there is any, says what sort of report it is.
// practice reports whether any of the runs was practice.
func (s *Source) carSummary(runs []*run.Machine, proofs []readiness.Proof, reasons []string, about Block) (part Part, practice bool) {
	result := Section{Title: "Result", Blocks: []Block{s.mayComeOn(proofs, reasons), Paragraph(s.remarkCount(""))}}
	if about != nil {
		result.Blocks = append(result.Blocks, about)
	}
	part = Part{Title: "Summary", Sections: append([]Section{result}, s.pageOne()...)}
	part.Sections = append(part.Sections, tested(runs))
	if len(reasons) > 0 {
		part.Sections = append(part.Sections, Section{Title: "In the way", Blocks: []Block{List{Items: reasons}}})
	}
	part.Sections = append(part.Sections, s.remarkSection(""), s.openSection(), proofSection(proofs))
	if about == nil {
		part.Sections = append(part.Sections, follows())
	}
	for _, m := range runs {
		practice = practice || m.Start().Practice || m.Plan().Practice
	}
	return part, practice
}

// tested says who did the runs, for whom, where and when, each answer once: runs
// may differ, and one that does not say is counted too.
func tested(runs []*run.Machine) Section {
	var workshops, customers, places, dates []string
	note := func(list *[]string, word string) {
		if word = sentence(word, notRecorded); !slices.Contains(*list, word) {
			*list = append(*list, word)
		}
	}
	for _, m := range runs {
		start := m.Start()
		note(&workshops, start.Workshop)
		note(&customers, start.Customer)
		note(&places, start.Place)
		note(&dates, start.Date)
	}
	if len(runs) == 0 {
		return Section{Title: "Work", Blocks: []Block{Paragraph("None: no proof rests on a run.")}}
	}
	slices.Sort(dates)
	when := dates[0]
	if last := dates[len(dates)-1]; last != when {
		when += " to " + last
	}
	var f Facts
	f.add("Workshop", workshops...)
	f.add("Made for", customers...)
	f.add("Place", places...)
	f.add("Tested", when+", local dates on which the runs below began")
	return Section{Title: "Work", Blocks: []Block{f}}
}

func (s *Source) mayComeOn(proofs []readiness.Proof, reasons []string) Result {
	hold, required := 0, 0
	for _, p := range proofs {
		if p.Required {
			required++
			if p.OK() {
				hold++
			}
		}
	}
	count := fmt.Sprintf("%d of %s hold or do not apply to this car, at %s", hold, plural(required, "required proof"), clock(s.Issued))
	switch {
	case len(s.Faults) > 0:
		return Result{"DOES NOT VERIFY", fmt.Sprintf("The log has %s of integrity: nothing below can be relied on.", plural(len(s.Faults), "fault"))}
	case len(reasons) > 0 || hold < required || required == 0:
		return Result{"POWER MAY NOT COME ON", count + "."}
	}
	return Result{"POWER MAY COME ON", count + ", and nothing else is in the way. Who switches it on, and when, is for the people who hold the permit."}
}

func proofSection(proofs []readiness.Proof) Section {
	var rows [][]string
	for _, p := range proofs {
		name := p.Proof
		if !p.Required {
			name += " (not required)"
		}
		until := ""
		if !p.Until.IsZero() {
			until = "until " + p.Until.Format(time.DateOnly)
		}
		rows = append(rows, []string{p.Stage, name, string(p.State), sentence(p.Run, "-"), sentence(join(until, p.Reason), "-")})
	}
	s := Section{Title: "Proofs"}
	if len(rows) == 0 {
		s.Blocks = []Block{Paragraph("None: no procedure of this car proves anything.")}
		return s
	}
	s.Blocks = []Block{Table{Head: []string{"stage", "proof", "state", "run", "until, or why"}, Rows: rows}}
	return s
}

func join(a, b string) string {
	if a != "" && b != "" {
		return a + "; " + b
	}
	return a + b
}

// follows says what the rest of the report holds.
func follows() Section {
	return Section{Title: "What follows", Blocks: []Block{Paragraph("Each run that a proof above rests on, in the order of the proofs, with all its " +
		"steps; then the people and their keys, and how to check this report. Other runs are in the log: hvproof log, hvproof report RUN.")}}
}

// rested gives the runs that proofs rest on, each once.
func rested(h *run.History, proofs []readiness.Proof) []*run.Machine {
	var out []*run.Machine
	seen := map[string]bool{}
	take := func(id string) {
		if m := h.Run(id); m != nil && !seen[id] {
			seen[id] = true
			out = append(out, m)
		}
	}
	for _, p := range proofs {
		take(p.Run)
		for _, i := range p.Items {
			take(i.Run)
		}
	}
	return out
}
