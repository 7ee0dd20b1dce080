package report

import (
	"fmt"
	"sort"
	"strings"

	"hvproof/internal/entry"
	"hvproof/internal/people"
	"hvproof/internal/plan"
	"hvproof/internal/quantity"
	"hvproof/internal/run"
)

const notRecorded = "not recorded"

// record says which car and which log it is about, and how far it reaches.
func (s *Source) record() Section {
	var f Facts
	o, err := entry.ParseOrigin(s.Origin)
	f.add("Car", s.car())
	if err == nil {
		f.add("Identified as", fmt.Sprintf("%s, on device %s", o.Car, o.Device))
	}
	f.add("Log", s.Origin)
	f.add("Begun", fmt.Sprintf("%s by %s (entry 0)", clock(event(s.Start, "").Local()), s.who(s.Start.Text("person"))))
	f.add("Fingerprint", sentence(s.Fingerprint, "entry 0 is missing"), "of entry 0: read it aloud and compare it with what you were told before")
	f.add("Predecessor", s.predecessor())
	f.add("Baseline", s.Baseline)
	f.add("Reaches to", fmt.Sprintf("entry %d of %s; %d entries", s.Newest.Index, clock(event(s.Newest, "").Local()), s.Entries))
	f.add("Report made", clock(s.Issued)+" with "+s.Program)
	return Section{Title: "Car and record", Blocks: []Block{f}}
}

func event(e entry.Entry, signer string) run.Event {
	return run.Event{Origin: e.Origin, Index: e.Index, Time: e.Time, Zone: e.Zone, Signer: signer, Body: e.Body}
}

func (s *Source) predecessor() string {
	before := s.Start.Text("predecessor")
	switch before {
	case "none":
		return "none: this log claims to be the first of this car"
	case "unproven":
		return "unproven: there was an earlier log that cannot be shown"
	}
	if n := s.Start.Text("predecessor-size"); n != "" {
		before += fmt.Sprintf(", %s entries, root %s", n, s.Start.Text("predecessor-root"))
	}
	return before
}

// work says what was done, where, when and by whom.
func (c *course) work() Section {
	p, start := c.plan, c.m.Start()
	var f Facts
	f.add("Procedure", fmt.Sprintf("%s (%s), stage %s%s", p.Title, p.Procedure, p.Stage, live(p)))
	f.add("Purpose", p.Purpose)
	f.add("Run", fmt.Sprintf("%s, %s", c.m.ID(), c.extent()))
	f.add("Workshop", sentence(start.Workshop, notRecorded))
	f.add("Made for", sentence(start.Customer, notRecorded))
	f.add("Place", sentence(start.Place, notRecorded))
	f.add("Item tested", c.car()+", in the state said at each step; its condition otherwise is "+notRecorded)
	f.add("Begun", c.first())
	f.add("Last entry", c.newest())
	f.add("Sign-out", c.signOut())
	f.add("Operator", c.who(start.Operator))
	f.add("Witness", sentence(c.who(start.Witness), "nobody"))
	f.add("Releaser", sentence(c.who(start.Releaser), "nobody"))
	var others []string
	for _, o := range start.Others {
		id, does, _ := strings.Cut(o, " ")
		others = append(others, strings.TrimSpace(c.who(id)+" "+does))
	}
	f.add("Also there", others...)
	return Section{Title: "Work", Blocks: []Block{f}}
}

func live(p *plan.Plan) string {
	if p.Live {
		return ", live work"
	}
	return ""
}

func (c *course) extent() string {
	events := c.m.Events()
	if len(events) == 0 {
		return "no entries"
	}
	log := "the log"
	if events[0].Origin != c.Origin {
		log = "the earlier log " + events[0].Origin
	}
	return fmt.Sprintf("%d entries, %d to %d of %s", len(events), events[0].Index, events[len(events)-1].Index, log)
}

func (c *course) first() string {
	if e := c.m.Events(); len(e) > 0 {
		return c.began() + ", local date " + c.m.Start().Date
	}
	return notRecorded
}

func (c *course) newest() string {
	if e := c.m.Events(); len(e) > 0 {
		return clock(e[len(e)-1].Local())
	}
	return notRecorded
}

// conditions says what was asked for before the first step, and what the
// surroundings were.
func (c *course) conditions() Section {
	p := c.plan
	var f Facts
	f.add("Car's voltage", voltage(p.CarVoltage))
	f.add("Prerequisites", sentence(strings.Join(p.Prerequisites, ", "), "none"))
	f.add("People", fmt.Sprintf("%d at least", p.People))
	f.add("Protective equipment", sentence(strings.Join(texts(p.Protective), "; "), "none asked for"))
	f.add("Cautions", texts(p.Cautions)...)
	f.add("Make safe", p.MakeSafe...)
	switch air := c.air(); {
	case len(air) > 0:
		f.add("Ambient", air...)
	case p.Ambient:
		f.add("Ambient", notRecorded+", though the procedure asks for it")
	default:
		f.add("Ambient", notRecorded+"; the procedure does not ask for it")
	}
	return Section{Title: "Conditions", Blocks: []Block{f}}
}

// air gives the surroundings as they were recorded.
func (c *course) air() []string {
	var out []string
	for _, e := range c.loose {
		if e.Body.Kind == entry.Ambient {
			out = append(out, ambient(e.Body)+"; "+c.signed(e))
		}
	}
	return out
}

func voltage(v float64) string {
	if v <= 0 {
		return "not stated"
	}
	return quantity.Format(quantity.Value{SI: v, Dim: quantity.Volt}, 6, quantity.RoundUp) + " at most"
}

func texts(of []plan.Text) []string {
	var out []string
	for _, t := range of {
		out = append(out, t.Text)
	}
	return out
}

func ambient(b entry.Body) string {
	var words []string
	if t, ok := b.Number("temperature"); ok {
		words = append(words, quantity.Celsius(quantity.Value{SI: t, Dim: quantity.Kelvin}, 4, quantity.RoundNearest))
	}
	if h, ok := b.Number("humidity"); ok {
		words = append(words, fmt.Sprintf("%.3g %% relative humidity", h*100))
	}
	if w := b.Text("surface"); w != "" {
		words = append(words, w)
	}
	return strings.Join(words, ", ") + fmt.Sprintf(" (typed %q)", b.Text("text"))
}

// instruments lists the meters of the run.
func (c *course) instruments() Section {
	start := c.m.Start()
	used := map[string][]string{}
	for role, id := range start.Instruments {
		used[id] = append(used[id], role)
	}
	var f Facts
	for _, in := range start.Meters {
		roles := used[in.ID]
		if len(roles) == 0 {
			continue
		}
		sort.Strings(roles)
		where := sentence(in.Category, "no measurement category stated")
		if in.MaxVoltage > 0 {
			where += ", " + number(in.MaxVoltage, quantity.Volt) + " at most"
		}
		f.add(in.ID, fmt.Sprintf("%s, serial %s, %s", in.Kind, sentence(in.Serial, "not stated"), calibration(in)),
			where+"; used as "+strings.Join(roles, ", "))
	}
	s := Section{Title: "Instruments"}
	if len(f) == 0 {
		s.Blocks = []Block{Paragraph("None: nothing of this run was measured with an instrument.")}
		return s
	}
	s.Blocks = []Block{f}
	return s
}

// fileSection lists the files that the plan was made from.
func (c *course) fileSection() Section {
	var rows [][]string
	for _, f := range c.plan.Files {
		rows = append(rows, []string{f.Origin, f.Digest[:min(16, len(f.Digest))], f.Name})
	}
	s := Section{Title: "Files as the run had them"}
	if len(rows) == 0 {
		s.Blocks = []Block{Paragraph("None recorded.")}
		return s
	}
	s.Blocks = []Block{
		Paragraph("Shipped: as it came with the program. Changed: shipped, and edited by the shop. Own: the shop's. " +
			"The digits begin the file's SHA-256."),
		Table{Head: []string{"origin", "SHA-256 begins", "file"}, Rows: rows},
	}
	return s
}

// keys lists who may sign in this log, and who let them in.
func (s *Source) keys() Section {
	var f Facts
	for _, p := range s.People {
		by := "introduced by " + s.who(p.IntroducedBy)
		if p.From == 0 {
			by = "with whom trust in this log begins"
		}
		valid := fmt.Sprintf("%s, from entry %d", by, p.From)
		if p.Until != people.Forever {
			valid += fmt.Sprintf(", ended with entry %d", p.Until)
		}
		f.add(s.who(p.ID), people.FormatRoles(p.Roles)+"; "+valid, people.Fingerprint(p.Key))
	}
	return Section{Title: "People and their keys", Blocks: []Block{
		Paragraph("Each signature is by one of these keys; the digits are the key's fingerprint, to be compared with its owner."), f}}
}
