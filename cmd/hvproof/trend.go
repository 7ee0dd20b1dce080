package main

import (
	"context"
	"slices"
	"strings"
	"time"

	"hvproof/internal/diag"
	"hvproof/internal/plan"
	"hvproof/internal/quantity"
	"hvproof/internal/readiness"
	"hvproof/internal/run"
)

// subject says what a history is of; one of them is given.
type subject struct {
	part, proof, reading string
	at                   string // a temperature to bring insulation to, empty for none
}

func (w subject) given() bool { return w.part != "" || w.proof != "" || w.reading != "" }

// concerns reports whether a step is part of the history.
func (w subject) concerns(p *plan.Plan, s *plan.Step) bool {
	switch {
	case w.part != "":
		return slices.Contains(s.Parts, w.part)
	case w.proof != "":
		return slices.ContainsFunc(p.Proves, func(pr plan.Proof) bool { return pr.ID == w.proof })
	}
	return s.Path == w.reading || p.Procedure+"."+s.Path == w.reading
}

// historyDocument is the log's document without its entries, and the history.
type historyDocument struct {
	logDocument
	Events   []eventDocument `json:"events"`
	Trends   []trendDocument `json:"trends"`
	Falling  []string        `json:"falling"`
	Outliers []string        `json:"outliers"`
}

type eventDocument struct {
	Time string `json:"time"`
	Run  string `json:"run,omitempty"`
	What string `json:"what"`
}

type trendDocument struct {
	Procedure string          `json:"procedure"`
	Step      string          `json:"step"`
	Points    []pointDocument `json:"points"`
	Bars      string          `json:"-"`
}

type pointDocument struct {
	Run      string            `json:"run"`
	Time     string            `json:"time"`
	Reading  *quantityDocument `json:"reading"`
	Decision string            `json:"decision"`
	Ambient  string            `json:"ambient,omitempty"`
	said     string
	At       *quantityDocument `json:"estimate,omitempty"` // of insulation at another temperature
}

// historyOf gives everything about a part, a proof or a reading.
func (s *session) historyOf(w subject, kelvin float64) historyDocument {
	d := historyDocument{Events: []eventDocument{}, Trends: []trendDocument{}, Falling: []string{}, Outliers: []string{}}
	for _, m := range s.history.Runs() {
		var counts [2]int
		for _, r := range m.Steps() {
			if w.concerns(m.Plan(), r.Step) && r.Last() != nil {
				counts[0]++
				if r.Decision != run.Pass && r.Decision != run.Done {
					counts[1]++
				}
			}
		}
		if counts[0] == 0 {
			continue
		}
		outcome := first(m.Outcome(), "not finished")
		what := m.Plan().Procedure + " " + outcome + ", " + number(counts[0], "step", "steps") + " about it"
		if counts[1] > 0 {
			what += ", of which " + number(counts[1], "step", "steps") + " not as wanted"
		}
		d.Events = append(d.Events, eventDocument{m.Began().Format(time.RFC3339), m.ID(), what})
	}
	for _, k := range append(s.record.Works(), s.facts().Events()...) {
		if w.part != "" && slices.Contains(k.Parts, w.part) || w.proof != "" && slices.ContainsFunc(k.Voids, func(v readiness.Voiding) bool { return v.Proof == w.proof }) {
			d.Events = append(d.Events, eventDocument{k.Time.Format(time.RFC3339), k.Run, k.String()})
		}
	}
	slices.SortStableFunc(d.Events, func(a, b eventDocument) int { return strings.Compare(a.Time, b.Time) })
	all := readiness.Trends(s.facts())
	concerned := func(t *readiness.Trend) bool {
		m := s.history.Run(t.Points[len(t.Points)-1].Run)
		return m != nil && w.concerns(m.Plan(), t.Step)
	}
	for _, t := range all {
		if !concerned(t) {
			continue
		}
		doc := trendDocument{Procedure: t.Procedure, Step: t.Path, Points: []pointDocument{}, Bars: t.Sparkline()}
		for _, p := range t.Points {
			q := quantityJSON(p.Value, t.Step.Dim)
			q.Bound = p.Bound
			q.within(p.U)
			point := pointDocument{p.Run, p.Time.Format(time.RFC3339), q, p.Decision, p.Air, p.Said(), nil}
			if x, ok := p.At(t.Step, kelvin); ok && kelvin > 0 {
				point.At = quantityJSON(x, t.Step.Dim)
			}
			doc.Points = append(doc.Points, point)
		}
		d.Trends = append(d.Trends, doc)
		if f, ok := t.Falls(); ok {
			d.Falling = append(d.Falling, f.Sentence())
		}
	}
	for _, o := range readiness.Outliers(all) {
		if concerned(o.Trend) {
			d.Outliers = append(d.Outliers, o.Sentence())
		}
	}
	return d
}

// trend prints a history.
func (a *app) trend(ctx context.Context, w subject) error {
	s, err := a.read(ctx)
	if err != nil {
		return err
	}
	defer s.close()
	if w.part != "" {
		folder, err := s.load()
		if err != nil {
			return err
		}
		part, ok := folder.Vehicle.Part(w.part)
		if !ok {
			return diag.Bad(diag.DidYouMean(w.part, folder.Vehicle.Parts()), "the car has no part %q", w.part)
		}
		w.part = part
	}
	checkpoint, err := s.store.Checkpoint(ctx, s.origin)
	if err != nil {
		return err
	}
	kelvin := 0.0
	if w.at != "" {
		v, err := quantity.Parse(w.at)
		if err != nil || v.Dim != quantity.Kelvin {
			return diag.Bad("write it as '20 °C'", "--at %q is not a temperature", w.at)
		}
		kelvin = v.SI
	}
	d := s.historyOf(w, kelvin)
	d.logDocument = logDocument{s.origin, s.practice, s.entries, string(checkpoint), []noteDocument{}}
	if a.json {
		return a.document(d)
	}
	if len(d.Events) == 0 {
		a.printf("nothing is recorded about it\n")
	}
	for _, e := range d.Events {
		a.printf("%s  %-16s %s\n", e.Time[:16], e.Run, e.What)
	}
	for _, t := range d.Trends {
		if len(t.Points) < 2 && w.reading == "" {
			continue
		}
		a.printf("\n%s, %s   %s\n", t.Procedure, t.Step, t.Bars)
		for _, p := range t.Points {
			a.printf("  %s  %-16s %-26s %-16s %s\n", p.Time[:10], p.Run, p.said, p.Decision, p.Ambient)
			if p.At != nil {
				a.printf("      about %s at %s: halving per 10 K, an estimate, never judged by\n", quantity.Value{SI: p.At.Value, Dim: quantity.Ohm}, w.at)
			}
		}
	}
	for _, f := range d.Falling {
		a.printf("\nFALLING  %s\n", f)
	}
	for _, o := range d.Outliers {
		a.printf("\nOUTLIER  %s\n", o)
	}
	return nil
}
