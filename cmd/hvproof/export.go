package main

import (
	"context"
	"encoding/csv"
	"io"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"github.com/spf13/cobra"

	"hvproof/internal/diag"
	"hvproof/internal/entry"
	"hvproof/internal/plan"
	"hvproof/internal/quantity"
	"hvproof/internal/run"
)

func newExportCommand(a *app) *cobra.Command {
	file, comma := "", false
	cmd := &cobra.Command{
		Use:   "export",
		Short: "every reading of the log, for your own tools",
		Long: `Prints every measured and computed value of the log, each attempt in a line, as
CSV (RFC 4180, UTF-8) or with --json as one JSON document. Values are in base
units, with a column for each unit that occurs: "value [V]", "U [V]", and "low [V]", "high [V]" where a value
was computed over the tolerances of the car. A waveform has a line for each of its
numbers, named under "number". What was typed stands beside it. Texts that a spreadsheet would take for a formula begin with '.

It is for plotting and sorting. Evidence is the log: hvproof bundle.

EXIT STATUS
  0 it was written, 1 the log does not verify, 2 there is no log or the file exists`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if comma && a.json {
				return diag.Bad("take one of them", "--csv and --json exclude each other")
			}
			return a.export(cmd.Context(), file)
		},
	}
	cmd.Flags().BoolVar(&comma, "csv", false, "as CSV (so it is without --json)")
	cmd.Flags().StringVarP(&file, "output", "o", "", "write it to this file, which must not exist yet")
	return cmd
}

type exportDocument struct {
	Practice bool            `json:"practice"`
	OK       bool            `json:"ok"` // the log verifies
	Units    []string        `json:"units"`
	Readings []exportedValue `json:"readings"`
}

type exportedValue struct {
	Log        string            `json:"log"`
	Entry      int64             `json:"entry"`
	Time       string            `json:"time"`
	Run        string            `json:"run"`
	Procedure  string            `json:"procedure"`
	Practice   bool              `json:"practice"`
	Rehearsal  bool              `json:"rehearsal"`
	Step       string            `json:"step"`
	Attempt    int               `json:"attempt"`
	Kind       string            `json:"kind"`             // reading, computed or capture
	Number     string            `json:"number,omitempty"` // of a capture: "tau"
	Typed      string            `json:"typed,omitempty"`
	Reading    *quantityDocument `json:"reading,omitempty"`
	Low        *quantityDocument `json:"low,omitempty"` // computed over the car's tolerances
	High       *quantityDocument `json:"high,omitempty"`
	Limit      []string          `json:"limit"`
	Decision   string            `json:"decision"`
	Instrument string            `json:"instrument,omitempty"`
	Person     string            `json:"person"`
}

func (a *app) export(ctx context.Context, file string) error {
	s, err := a.read(ctx)
	if err != nil {
		return err
	}
	defer s.close()
	doc := exportDocument{Practice: s.practice, OK: len(s.faults) == 0, Units: []string{}, Readings: s.values()}
	for _, v := range doc.Readings {
		for _, q := range []*quantityDocument{v.Reading, v.Low, v.High} {
			if q != nil && !slices.Contains(doc.Units, q.Unit) {
				doc.Units = append(doc.Units, q.Unit)
			}
		}
	}
	slices.Sort(doc.Units)
	write := func(w io.Writer) error {
		if a.json {
			b := *a
			b.out = w
			return b.document(doc)
		}
		return doc.csv(w)
	}
	if file == "" {
		a.answered = true
		err = write(a.out)
	} else if err = writeNew(file, write); err == nil {
		a.sayf("%s written to %s", counted(int64(len(doc.Readings)), "value", "values"), file)
	}
	if err == nil && !doc.OK {
		a.warnf("the log does not verify: hvproof verify says more")
		return errNo
	}
	return err
}

// values lists every value of every run, in the order of their entries.
func (s *session) values() []exportedValue {
	out := []exportedValue{}
	for _, m := range s.history.Runs() {
		for _, r := range m.Steps() {
			for n := range r.Attempts {
				at := &r.Attempts[n]
				switch at.Body.Kind {
				case entry.Reading, entry.Computed:
					out = append(out, s.exported(m, r.Step, at, n+1))
				case entry.Capture:
					for _, f := range at.Features(r.Step) {
						v := s.exported(m, r.Step, at, n+1)
						v.Number, v.Limit, v.Reading = f.Name, limitsOf(r.Step, f.Name), quantityJSON(f.Value, f.Dim)
						v.Reading.Bound = sideWord(f.Side)
						v.Reading.within(f.U)
						out = append(out, v)
					}
				}
			}
		}
	}
	return out
}

// exported gives what an answer is and says, with the value that it has.
func (s *session) exported(m *run.Machine, step *plan.Step, at *run.Attempt, attempt int) exportedValue {
	v := exportedValue{Log: s.origin, Entry: at.Index, Time: entry.FormatTime(at.Time), Run: m.ID(), Procedure: m.Plan().Procedure,
		Practice: m.Start().Practice, Rehearsal: m.Start().Rehearsal, Step: step.Path, Attempt: attempt, Kind: string(at.Body.Kind), Person: at.Signer,
		Typed: at.Body.Text("text"), Limit: limitsOf(step, ""), Decision: at.Decision, Instrument: strings.Join(run.Instruments(at.Body), " ")}
	if events := m.Events(); len(events) > 0 {
		v.Log = events[0].Origin
	}
	if at.HasValue {
		v.Reading = quantityJSON(at.Value, step.Dim)
		v.Reading.Bound = at.Body.Text("bound")
		v.Reading.within(at.U)
	}
	if x, ok := at.Body.Number("low"); ok {
		v.Low = quantityJSON(x, step.Dim)
	}
	if x, ok := at.Body.Number("high"); ok {
		v.High = quantityJSON(x, step.Dim)
	}
	return v
}

// limitsOf gives the limits of a step's value, or of one number of a waveform.
func limitsOf(step *plan.Step, number string) []string {
	out := []string{}
	for _, b := range step.Limits() {
		if b.Feature == number {
			out = append(out, b.Bound.String())
		}
	}
	return out
}

func sideWord(s quantity.Side) string {
	switch s {
	case quantity.Above:
		return "above"
	case quantity.Below:
		return "below"
	}
	return ""
}

// csv writes the document with a column for each unit.
func (d exportDocument) csv(w io.Writer) error {
	c := csv.NewWriter(w)
	head := []string{"log", "entry", "time [UTC]", "run", "procedure", "counts", "step", "attempt", "kind", "number", "typed", "one-sided"}
	for _, u := range d.Units {
		head = append(head, "value ["+u+"]", "U ["+u+"]", "low ["+u+"]", "high ["+u+"]")
	}
	if err := c.Write(append(head, "limit", "decision", "instrument", "person")); err != nil {
		return err
	}
	for _, v := range d.Readings {
		counts := "yes"
		switch {
		case v.Practice:
			counts = "practice"
		case v.Rehearsal:
			counts = "rehearsal"
		}
		bound := ""
		if v.Reading != nil {
			bound = v.Reading.Bound
		}
		row := []string{v.Log, strconv.FormatInt(v.Entry, 10), v.Time, v.Run, v.Procedure, counts, v.Step, strconv.Itoa(v.Attempt), v.Kind, v.Number, v.Typed, bound}
		for _, u := range d.Units {
			spread := ""
			if v.Reading != nil && v.Reading.Unit == u && v.Reading.U > 0 {
				spread = entry.FormatNumber(v.Reading.U)
			}
			row = append(row, v.Reading.in(u), spread, v.Low.in(u), v.High.in(u))
		}
		row = append(row, strings.Join(v.Limit, "; "), v.Decision, v.Instrument, v.Person)
		for i, cell := range row {
			row[i] = inert(cell)
		}
		if err := c.Write(row); err != nil {
			return err
		}
	}
	c.Flush()
	return c.Error()
}

// in gives the number where it is of that unit.
func (q *quantityDocument) in(unit string) string {
	if q == nil || q.Unit != unit {
		return ""
	}
	return entry.FormatNumber(q.Value)
}

// plainNumber is what a spreadsheet may take for a number.
var plainNumber = regexp.MustCompile(`^[+-]?[0-9]+(\.[0-9]+)?$`)

// inert keeps a spreadsheet from taking a text for a formula: what begins with
// a sign of one, in full width as well, after spaces as well, gets a ' before it.
func inert(cell string) string {
	first, _ := utf8.DecodeRuneInString(strings.TrimLeft(cell, " \u00a0\u3000"))
	if !strings.ContainsRune("=+-@\t\r\n|％＝＋－＠", first) || first == utf8.RuneError || plainNumber.MatchString(cell) {
		return diag.Printable(cell)
	}
	return "'" + diag.Printable(cell)
}
