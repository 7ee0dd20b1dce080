package report

import (
	"fmt"
	"strings"

	"hvproof/internal/readiness"
)

// A Remark is a sentence about an entry of the log: a fault of integrity, or
// a remark on conduct.
type Remark struct {
	Log      string // origin of the log, empty for the report's own
	Entry    int64
	Code     string
	Sentence string
	Run      string // the run that the entry belongs to, empty if to none
}

// where names the entry and the code.
func (r Remark) where() string {
	if r.Log != "" {
		return fmt.Sprintf("entry %d of %s, %s", r.Entry, r.Log, r.Code)
	}
	return fmt.Sprintf("entry %d, %s", r.Entry, r.Code)
}

// Grouped puts together remarks on one entry that differ only in the end of
// their sentence.
func Grouped(remarks []Remark) []Remark {
	var out []Remark
	before := ""
	for _, r := range remarks {
		about, rest, ok := strings.Cut(r.Sentence, ": ")
		start := r.where() + ": " + about + ": "
		if ok && start == before {
			out[len(out)-1].Sentence += "; " + rest
			continue
		}
		before = ""
		if ok {
			before = start
		}
		out = append(out, r)
	}
	return out
}

// lines gives remarks one a line.
func lines(remarks []Remark) []string {
	var out []string
	for _, r := range Grouped(remarks) {
		out = append(out, r.where()+": "+r.Sentence)
	}
	return out
}

func (s *Source) faultSection() Section {
	return Section{Title: "Faults of the record", Blocks: []Block{List{Items: lines(s.Faults)}}}
}

// on gives the remarks on a run and on the log as a whole, and counts those
// on other runs. An empty id means all.
func (s *Source) on(id string) (about []Remark, others int) {
	for _, r := range s.Remarks {
		if id == "" || r.Run == "" || r.Run == id {
			about = append(about, r)
		} else {
			others++
		}
	}
	return about, others
}

// remarkCount says at the head of page one how many remarks there are.
func (s *Source) remarkCount(id string) string {
	about, others := s.on(id)
	out := "The audit has no remark"
	if len(about) > 0 {
		out = fmt.Sprintf("The audit has %s (see below)", plural(len(about), "remark"))
	}
	if id != "" {
		out += " on this run and the log"
	}
	if others > 0 {
		out += fmt.Sprintf(", and %d on other runs", others)
	}
	return out + "."
}

func (s *Source) remarkSection(id string) Section {
	about, others := s.on(id)
	out := Section{Title: "Remarks of the audit"}
	if len(about) == 0 {
		none := Paragraph("None on the whole log.")
		if id != "" {
			none = "None on this run and on the log as a whole."
		}
		out.Blocks = []Block{none}
	} else {
		out.Blocks = []Block{List{Items: lines(about)}}
	}
	if others > 0 {
		out.Blocks = append(out.Blocks, Paragraph(fmt.Sprintf("And %s on other runs of the log: see hvproof verify.", plural(others, "remark"))))
	}
	return out
}

// OpenIn lists what is provisional or failed in a record and not closed.
func OpenIn(l readiness.Log) []string {
	var out []string
	for _, i := range readiness.OpenItems(l) {
		keeps := ""
		if i.Blocks {
			keeps = "; it keeps power off"
		}
		out = append(out, fmt.Sprintf("%s, %s, opened by %s: %s%s", i.ID(), i.Kind, sentence(i.By, "nobody"), i.Text, keeps))
	}
	for _, n := range readiness.Nonconformances(l) {
		if n.Open != "" {
			out = append(out, fmt.Sprintf("%s, nonconformance of run %s (%s): %s; %s; it keeps power off", n.ID(), n.Run, n.Procedure, n.Text, n.Open))
		}
	}
	return out
}

// openSection lists what is open in the whole record, whichever run it is of.
func (s *Source) openSection() Section {
	if len(s.Open) == 0 {
		return Section{Title: "Open items", Blocks: []Block{Paragraph("None in the whole record: nothing is provisional, and what failed is closed.")}}
	}
	return Section{Title: "Open items", Blocks: []Block{List{Items: s.Open}}}
}
