package report

import (
	"fmt"
	"strings"
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
		out.Blocks = []Block{Paragraph("None on this run and on the log as a whole.")}
	} else {
		out.Blocks = []Block{List{Items: lines(about)}}
	}
	if others > 0 {
		out.Blocks = append(out.Blocks, Paragraph(fmt.Sprintf("And %s on other runs of the log: see hvproof verify.", plural(others, "remark"))))
	}
	return out
}
