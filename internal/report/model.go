package report

import "hvproof/internal/plot"

// A Report is one document in reading order.
type Report struct {
	Title   string // "Test report: Isolation of the whole car"
	Subject string // the car and the run, short enough for the head of a page

	// Mark stands at the head and the foot of every page: that nothing here is
	// evidence, or that the record does not verify. Empty where neither is so.
	Mark string

	// Parts begin on a page of their own. The first is the summary: result,
	// what needs a look, remarks, and what the report is about.
	Parts []Part
}

// A Part is a run, or what stands before or after the runs.
type Part struct {
	Title    string
	Sections []Section
}

// A Section has a heading and blocks below it.
type Section struct {
	Title  string
	Blocks []Block
}

// A Block is a Result, Facts, Paragraph, List, Table, Step or Verbatim.
type Block interface{ block() }

// A Result is the answer, to be seen first and read without colour.
type Result struct {
	Word     string // "PASSED", "FAILED", "NOT FINISHED"
	Sentence string
}

// Facts are names with what is known under them, in order.
type Facts []Fact

// A Fact is a name with one or several values.
type Fact struct {
	Name   string
	Values []string // never empty
}

// A Paragraph is a sentence or a few.
type Paragraph string

// A List has one item a line, counted where the order matters.
type List struct {
	Counted bool
	Items   []string
}

// A Table has a head and rows of as many cells.
type Table struct {
	Head []string
	Rows [][]string
}

// A Step is one step of a run with everything that was answered to it.
type Step struct {
	Number   string // "3 of 14", of those that apply to the car
	Path     string
	Text     string
	Decision string // of the last attempt, in capitals
	Facts    Facts  // what was asked: parts, state, limits, sources
	Attempts []Attempt
	End      Facts // what became of it, where that is not the last attempt's to say
}

// An Attempt is one answer to a step.
type Attempt struct {
	Title string // "2nd of 3 readings: FAIL"; empty if there is but one answer
	Facts Facts
	Chart *plot.Chart // of a waveform, to be drawn below the facts
}

// Verbatim is text to be printed as it is: a checkpoint, a command.
type Verbatim string

func (Result) block()    {}
func (Facts) block()     {}
func (Paragraph) block() {}
func (List) block()      {}
func (Table) block()     {}
func (Step) block()      {}
func (Verbatim) block()  {}

// add appends a fact; empty values are left out, and a fact without any.
func (f *Facts) add(name string, values ...string) {
	if said := words(values...); len(said) > 0 {
		*f = append(*f, Fact{name, said})
	}
}

// words leaves out what is empty.
func words(all ...string) []string {
	var said []string
	for _, v := range all {
		if v != "" {
			said = append(said, v)
		}
	}
	return said
}
