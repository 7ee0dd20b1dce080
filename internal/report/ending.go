package report

import (
	"fmt"
	"strings"

	"hvproof/internal/entry"
	"hvproof/internal/measure"
	"hvproof/internal/readiness"
	"hvproof/internal/run"
)

// covers says what a result is about, and what it is not.
func (c *course) covers() Section {
	var f Facts
	state, reason := readiness.Establishes(c.m)
	for _, p := range c.plan.Proves {
		about := fmt.Sprintf("%s, about %s", p.ID, strings.Join(p.Parts, ", "))
		switch {
		case state != readiness.Holds:
			f.add("Proves", "not "+about+": "+sentence(reason, string(state)))
		case p.HoldsDays > 0:
			f.add("Proves", about+fmt.Sprintf(", for %d days or until work on a part", p.HoldsDays))
		default:
			f.add("Proves", about+", until work on a part")
		}
	}
	if len(c.plan.Proves) == 0 {
		f.add("Proves", "nothing by itself: the procedure claims no proof")
	}
	if c.Practice || c.m.Start().Practice {
		f.add("But", "it is practice: none of it is evidence")
	}
	if state == readiness.Holds {
		f.add("Reserve", reason)
	}
	return Section{Title: "What the result covers, and what it does not", Blocks: []Block{f, Paragraph(
		"The results relate only to the car and the parts named, in the states said, at the times given. They say nothing about " +
			"parts not named, about anything done to the car afterwards, or about anybody's competence. Whether a proof " +
			"still holds today is answered by hvproof ready."),
		Paragraph("Nothing was sampled: what a step asks for was measured at each item named, and what was not done is listed above. Every answer is that of " +
			"the person who signed it; none is recorded as the result of somebody else.")}}
}

// courseSection lists what happened beside the steps.
func (c *course) courseSection() Section {
	var rows [][]string
	for _, e := range c.loose {
		rows = append(rows, []string{fmt.Sprint(e.Index), clock(e.Local()), e.Signer, c.happened(e)})
	}
	return Section{Title: "Course of the run, beside its steps", Blocks: []Block{
		Table{Head: []string{"entry", "time", "signed by", "what"}, Rows: rows}}}
}

func (c *course) happened(e run.Event) string {
	b := e.Body
	var said []string
	switch b.Kind {
	case entry.RunStart:
		said = words("the run begins")
	case entry.RunEnd:
		said = words("the run ends: "+b.Text("outcome"), b.Text("reason"))
	case entry.Left:
		said = words("left, to be resumed", b.Text("reason"))
	case entry.Resume:
		said = words("resumed; state of the car said", b.Text("text"))
	case entry.MakeSafe:
		said = words("made safe", b.Text("reason"), b.Text("text"))
	case entry.Ambient:
		said = words("ambient conditions", ambient(b))
	case entry.Reading, entry.Statement, entry.Computed, entry.Wait, entry.Hold:
		said = words("NOT TAKEN, no run would have written it", string(b.Kind), b.Path, b.Text("text"), b.Text("decision"))
	default:
		said = words(string(b.Kind), b.Path, b.Text("text"), b.Text("reason"))
	}
	return strings.Join(said, ": ")
}

// decided explains the uncertainty and the decision rules of runs.
func decided(runs ...*run.Machine) Section {
	guard, simple := false, false
	for _, m := range runs {
		for i := range m.Plan().Steps {
			for _, b := range m.Plan().Steps[i].Limits() {
				guard = guard || b.Rule == measure.GuardBand
				simple = simple || b.Rule == measure.SimpleAcceptance
			}
		}
	}
	items := []string{"The number after ± is U, the expanded uncertainty: the half-width of the instrument's specification; of several " +
		"readings together, combined with k = 2. Temperature and humidity are recorded and correct nothing."}
	if guard {
		items = append(items, "Guard band w = U (ILAC-G8:09/2019, 4.2.3): a pass holds for every true value within U of the reading. "+
			"Met by less than U is a conditional pass, missed by less than U a conditional fail.")
	}
	if simple {
		items = append(items, "Simple acceptance, w = 0 (ILAC-G8:09/2019, 4.2.1): the reading alone counts; right at the limit every "+
			"second pass may be wrong.")
	}
	items = append(items,
		"Limits are computed for the strictest corner of the car's tolerances, frozen when the run began, and printed rounded inward; "+
			"expected values cover all tolerances. A limit met and an expected value missed is a finding.")
	return Section{Title: "How it was decided", Blocks: []Block{List{Items: items}}}
}

// proof says how to check the report against the log, and what is proven.
func (s *Source) proof() Section {
	return Section{Title: "How to check this report", Blocks: []Block{
		Paragraph("This text is a picture of the log and proves nothing by itself. In the car folder, or with a copy of it:"),
		Verbatim("hvproof verify            every signature, the order, the tree, the checkpoint\n" +
			"hvproof log --note N      entry N exactly as it was signed\n" +
			"hvproof help log          the format, and how to check an entry with OpenSSL alone"),
		Paragraph("The checkpoint of the log when this report was made. Keep it: a log that was cut short or rewritten later " +
			"does not agree with it. From a file that holds just these lines, without what the page puts before them: " +
			"hvproof verify --against FILE."),
		Verbatim(strings.TrimRight(string(s.Checkpoint), "\n")),
		List{Items: []string{
			"Proven by a log that verifies: these keys signed these entries, in this order; of the entries nothing was changed, left out or put between.",
			"Not proven: that the meter was on the right terminal, that the clock was right, who held a key; and of the newest entries, " +
				"that they were not replaced before somebody else signed or kept a checkpoint.",
		}},
	}}
}

// cautions are those of every report.
func cautions() Section {
	return Section{Title: "Cautions", Blocks: []Block{List{Items: []string{
		"Tested, with these results, in this state, at this time; not more. No result here says that touching anything is without danger.",
		"Local codes, the rule book in force, the maker's instructions and licensed people come first.",
		"Before anybody touches a part it is proved dead again: that is never carried over from a report.",
		"A proof here is evidence that a requirement was met by measurement, not a proof (withstand) test.",
		"Not to be copied except in full.",
	}}}}
}

// end is where a report ends, so that a missing last page shows.
func end() Section {
	return Section{Title: "End", Blocks: []Block{Paragraph("Here this report ends.")}}
}
