package main

import (
	"fmt"

	"hvproof/internal/audit"
	"hvproof/internal/diag"
	"hvproof/internal/ledger"
	"hvproof/internal/people"
)

// answerVerify gives the answer: a document, or every fault, then every
// remark, then what that means.
func (a *app) answerVerify(src *source, all []verified, remarks []audit.Remark, elsewhere []ledger.Finding) error {
	doc := verifyDocument{Faults: []conductDocument{}, Remarks: []conductDocument{}, Logs: []logVerifiedDocument{}}
	in := func(origin string) string {
		if len(all) > 1 {
			return origin
		}
		return ""
	}
	for _, r := range remarks {
		c := conductDocument{r.Entry, r.Code, r.Sentence, in(r.Log)}
		if r.Code == audit.RefutedDecision {
			doc.Faults = append(doc.Faults, c)
			continue
		}
		doc.Remarks = append(doc.Remarks, c)
	}
	for _, v := range all {
		for _, f := range v.Faults {
			doc.Faults = append(doc.Faults, conductDocument{f.Entry, string(f.Code), f.Sentence, in(v.Origin)})
		}
		doc.Practice = doc.Practice || v.Practice
		doc.Entries += v.Entries
		if v.Checkpoint != nil {
			doc.Checkpoint = string(v.Checkpoint)
		}
		if v.Origin != "" {
			doc.Logs = append(doc.Logs, logVerifiedJSON(v))
		}
	}
	for _, f := range elsewhere {
		doc.Faults = append(doc.Faults, conductDocument{Entry: f.Entry, Code: string(f.Code), Sentence: f.Sentence})
	}
	doc.OK, doc.Page = len(doc.Faults) == 0, string(src.compared)
	var err error
	if a.json {
		err = a.document(doc)
	} else {
		a.printVerify(src, doc, all)
	}
	if err == nil && !doc.OK {
		return errNo
	}
	return err
}

func logVerifiedJSON(v verified) logVerifiedDocument {
	d := logVerifiedDocument{Origin: v.Origin, Practice: v.Practice, Entries: v.Entries, Checkpoint: string(v.Checkpoint),
		Fingerprint: v.Fingerprint, Remembered: v.remembered, People: []personDocument{}}
	if v.People != nil {
		for _, p := range v.People.Persons() {
			d.People = append(d.People, personJSON(p))
		}
	}
	return d
}

func (a *app) printVerify(src *source, doc verifyDocument, all []verified) {
	name := src.name
	if doc.Practice {
		a.printf("PRACTICE - never evidence\n")
	}
	if src.compared == notComparable {
		a.printf("WHAT %s SAYS WAS NOT CHECKED, only the record that it is made of\n", diag.Printable(name))
		name = "the record of " + name
	}
	if doc.OK {
		a.printf("%s verifies: %s, no fault, %s\n", diag.Printable(name), counted(doc.Entries, "entry", "entries"), counted(int64(len(doc.Remarks)), "remark", "remarks"))
	} else {
		a.printf("%s DOES NOT VERIFY: %s in %s\n", diag.Printable(name), counted(int64(len(doc.Faults)), "fault", "faults"), counted(doc.Entries, "entry", "entries"))
	}
	a.printConduct("faults", doc.Faults)
	a.printConduct("remarks on conduct", doc.Remarks)
	for _, v := range all {
		if v.Origin != "" && v.People != nil {
			a.printLog(v, doc.OK)
			if src.bundle != nil && doc.OK {
				a.printCountersigned(src.bundle, v.Origin)
			}
		}
	}
	if doc.OK {
		a.printf("\n%s", proven)
	}
}

// proven says what a log without faults proves and what it does not.
const proven = `proven: the holders of these keys signed these entries in this order, each over all
  that were before; none was changed, left out or put between.
not proven: that what was typed is what the meter showed, or that the meter was on
  the right terminal; that the clock was right before somebody outside put a time
  under a checkpoint; who held a key: compare the fingerprints with what these
  people tell you; that this is the car's only log.
`

func counted(n int64, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}

func (a *app) printConduct(title string, list []conductDocument) {
	if len(list) == 0 {
		return
	}
	a.printf("\n%s\n", title)
	for _, c := range list {
		in := ""
		if c.Log != "" {
			in = " [" + c.Log + "]"
		}
		a.printf("  entry %d  %s%s\n    %s\n", c.Entry, c.Code, in, diag.Printable(c.Sentence))
	}
}

// printLog says whose log it is and how far it is held by what.
func (a *app) printLog(v verified, ok bool) {
	a.printf("\nlog %s\n", v.Origin)
	if v.Fingerprint != "" {
		a.printf("entry 0 %s\n", v.Fingerprint)
	}
	a.printf("people (compare the fingerprints with those that they tell you)\n")
	for _, p := range v.People.Persons() {
		ended := ""
		if p.Until != people.Forever {
			ended = fmt.Sprintf(", ended with entry %d", p.Until)
		}
		by := "introduced by " + p.IntroducedBy
		if p.IntroducedBy == p.ID && p.From == 0 {
			by = "began the log"
		}
		a.printf("  %-14s %s, entry %d, %s%s\n  %14s %s\n", p.ID, by, p.From, people.FormatRoles(p.Roles), ended, "", people.Fingerprint(p.Key))
	}
	if !ok {
		return
	}
	if v.remembered {
		a.printf("nothing was removed since this device last saw the log\n")
	} else {
		a.printf("this device remembers nothing of the log: whether it was longer once is not known\n")
	}
	if v.seal.Others < v.Entries {
		a.printf("from entry %d on nobody has signed but %s and this log's device: they could still replace these entries together\n", v.seal.Others, v.seal.Signer)
	}
}
