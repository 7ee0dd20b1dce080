package report

import (
	"fmt"
	"slices"
	"strings"

	"hvproof/internal/plan"
	"hvproof/internal/readiness"
	"hvproof/internal/run"
)

// works lists the work on the HV system, and what happened in live runs that
// makes proofs void.
func (s *shortForm) works() Section {
	out := Section{Title: "Work on the HV system, and events"}
	var items []string
	for _, w := range append(s.log.Record.Works(), s.log.Events()...) {
		said := fmt.Sprintf("%s; %s, signed by %s", w, clock(w.Time.In(s.Issued.Location())), s.who(w.Signer))
		for _, x := range [][2]string{{"kind", w.Kind}, {"done by", w.By}, {"done", w.Done}, {"because", w.Reason}, {"on", strings.Join(w.Parts, ", ")},
			{"found", strings.Join(w.Found, ", ")}, {"left", strings.Join(w.Left, ", ")}} {
			if x[1] != "" {
				said += "; " + x[0] + " " + x[1]
			}
		}
		var voids []string
		for _, v := range w.Voids {
			voids = union(voids, v.Proof)
		}
		items = append(items, said+"; made void: "+sentence(strings.Join(voids, ", "), "nothing"))
	}
	if len(items) == 0 {
		out.Blocks = []Block{Paragraph("None was recorded.")}
		return out
	}
	out.Blocks = []Block{Paragraph("All of it, oldest first. A proof above that holds was tested after what made it void."), List{Items: items}}
	return out
}

// nonconformances lists every requirement that was not met, the closed ones, too.
func (s *shortForm) nonconformances() Section {
	out := Section{Title: "Nonconformances, open and closed"}
	var items []string
	for _, n := range readiness.Nonconformances(s.log) {
		said := fmt.Sprintf("%s, CLOSED, run %s (%s): %s", n.ID(), n.Run, n.Procedure, n.Text)
		if n.Open != "" {
			said = fmt.Sprintf("%s, OPEN, run %s (%s): %s; %s", n.ID(), n.Run, n.Procedure, n.Text, n.Open)
		}
		if d := n.Decided; d != nil {
			said += fmt.Sprintf("; decided by %s in entry %d: %s, cause: %s", s.who(d.Signer), d.Index, d.Kind, sentence(d.Cause, "not stated"))
			for _, x := range [][2]string{{"checked", strings.Join(d.Checks, ", ")}, {"concession", d.Concession}, {"", d.Text}} {
				if x[1] != "" {
					said += "; " + strings.TrimSpace(x[0]+" "+x[1])
				}
			}
		}
		items = append(items, said)
	}
	if len(items) == 0 {
		out.Blocks = []Block{Paragraph("None: no run of the record had a fail or a finding.")}
		return out
	}
	out.Blocks = []Block{List{Items: items}}
	return out
}

// closings lists what was provisional and how it was closed (what is open
// stands on page one), and the instruments that were found wrong.
func (s *shortForm) closings() Section {
	var items []string
	for _, c := range s.log.Record.Closings() {
		said := strings.Join(words(c.Item, c.Text), ", ") + ": " + c.Done
		for _, x := range [][2]string{{"torque", c.Torque}, {"tool", c.Tool}, {"mark", c.Mark}, {"done by", c.By}, {"seen by", c.SeenBy}} {
			if x[1] != "" {
				said += "; " + x[0] + " " + x[1]
			}
		}
		items = append(items, fmt.Sprintf("%s; %s, entry %d, signed by %s", said, clock(c.Time.In(s.Issued.Location())), c.Index, s.who(c.Signer)))
	}
	if len(items) == 0 {
		items = []string{"No item was closed by hand."}
	}
	for _, f := range s.log.Record.MeterFaults() {
		since := "all its results are in doubt"
		if f.Since != "" {
			since = "in doubt since " + f.Since
		}
		items = append(items, fmt.Sprintf("FOUND WRONG, entry %d, %s, signed by %s: %s; %s of the log touched", f.Index,
			strings.Join(words(f.Instrument, f.Function, f.Text), ", "), s.who(f.Signer), since, plural(len(f.Touched(s.log)), "result")))
	}
	if len(s.log.Record.MeterFaults()) == 0 {
		items = append(items, "No instrument was found wrong.")
	}
	return Section{Title: "Items that were closed, and instruments found wrong", Blocks: []Block{List{Items: items}}}
}

// grants lists permits to energise and sanctions for test, and whether they
// are in force as the report is made. Sanctions that differ in their procedure
// alone are one item.
func (s *shortForm) grants() Section {
	type item struct{ entries, what, rest string }
	var items []*item
	alike := map[string]*item{}
	for _, g := range s.log.Record.Grants() {
		index, now := fmt.Sprint(g.Index), "in force"
		if over := s.log.Record.Over(g, s.Issued); over != "" {
			now = "not in force: " + over
		}
		signed := ", signed by " + s.who(g.Signer) + " and " + sentence(s.who(g.Second), "NOBODY ELSE")
		if g.Permit {
			what := "PERMIT TO ENERGISE until the end of " + g.LastDay
			if len(g.Forced) > 0 {
				what = "FORCED " + what
				signed += ", over: " + strings.Join(g.Forced, "; ") + "; because: " + sentence(g.Reason, "no reason was given")
			}
			items = append(items, &item{index, ", " + what, strings.Join(append([]string{signed}, g.Conditions...), "; ") + ": " + now})
			continue
		}
		rest := fmt.Sprintf(", for %s, until %s%s: %s", strings.Join(g.People, ", "), g.Until.In(s.Issued.Location()).Format("2006-01-02 15:04"), signed, now)
		if of := alike[rest]; of != nil {
			of.entries, of.what = of.entries+", "+index, of.what+", "+g.Procedure
			continue
		}
		alike[rest] = &item{index, ", sanction for test of " + g.Procedure, rest}
		items = append(items, alike[rest])
	}
	lines := []string{"None was granted."}
	for i, of := range items {
		if i == 0 {
			lines = nil
		}
		lines = append(lines, "entry "+of.entries+of.what+of.rest)
	}
	return Section{Title: "Permits to energise, and sanctions for test", Blocks: []Block{List{Items: lines}}}
}

// meterTable lists the instruments of runs, each once as its data were then.
func meterTable(runs []*run.Machine) Section {
	var rows [][]string
	for _, m := range runs {
		start := m.Start()
		for _, in := range start.Meters {
			used := false
			for _, id := range start.Instruments {
				used = used || id == in.ID
			}
			row := []string{in.ID, in.Kind, sentence(in.Serial, "not stated"), sentence(in.CalibratedOn, "not stated"), sentence(in.CalibratedUntil, "not stated"), sentence(in.Category, "not stated")}
			if used && !slices.ContainsFunc(rows, func(r []string) bool { return slices.Equal(r, row) }) {
				rows = append(rows, row)
			}
		}
	}
	s := Section{Title: "Instruments of the runs above"}
	if len(rows) == 0 {
		s.Blocks = []Block{Paragraph("None: nothing was measured with an instrument.")}
		return s
	}
	slices.SortStableFunc(rows, func(a, b []string) int { return strings.Compare(a[0], b[0]) })
	s.Blocks = []Block{Table{Head: []string{"id", "kind", "serial", "calibrated on", "until", "category"}, Rows: rows}}
	return s
}

// fileTable lists the files that limits rest on, each once for every text that
// it had: the car's data, its instruments, the rule sets.
func fileTable(runs []*run.Machine) Section {
	var rows [][]string
	for _, m := range runs {
		for _, f := range m.Plan().Files {
			if !strings.HasPrefix(f.Name, "rules/") && !describesTheCar(f.Name) || f.Personal() {
				continue
			}
			row := []string{f.Name, f.Origin, f.Digest[:min(16, len(f.Digest))]}
			n := slices.IndexFunc(rows, func(r []string) bool { return slices.Equal(r[:3], row) })
			if n < 0 {
				n, rows = len(rows), append(rows, append(row, ""))
			}
			rows[n][3] = strings.TrimPrefix(rows[n][3]+", "+m.ID(), ", ")
		}
	}
	s := Section{Title: "Files that limits rest on"}
	if len(rows) == 0 {
		s.Blocks = []Block{Paragraph("None recorded.")}
		return s
	}
	slices.SortStableFunc(rows, func(a, b []string) int { return strings.Compare(a[0], b[0]) })
	for _, r := range rows {
		if ids := strings.Split(r[3], ", "); len(ids) > 3 {
			r[3] = fmt.Sprintf("%s and %d more", ids[0], len(ids)-1)
		}
	}
	s.Blocks = []Block{Paragraph("A file with two rows was another one in later runs. Origin: " + plan.Shipped + ", as it came with the program; " +
		plan.Changed + " by the shop; or the shop's " + plan.Own + ". The digits begin its SHA-256."),
		Table{Head: []string{"file", "origin", "SHA-256 begins", "runs"}, Rows: rows}}
	return s
}
