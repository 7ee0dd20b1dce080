package report

import (
	"fmt"
	"strings"

	"hvproof/internal/entry"
)

// Forced are the permits to energise that somebody forced. They stand on page
// one of every report, in white on black.
type Forced struct{ permits []Remark }

// Observe takes every entry of a log, in order.
func (f *Forced) Observe(e entry.Entry, signer string) {
	switch over := e.Family("forced"); {
	case e.Kind == entry.Permit && len(over) > 0:
		f.permits = append(f.permits, Remark{Log: e.Origin, Entry: e.Index, Code: "forced-permit",
			Sentence: fmt.Sprintf("A permit to energise until %s was forced at %s by %s, because: %s. It was forced over: %s.", e.Text("until"), clock(event(e, signer).Local()), signer,
				sentence(e.Text("reason"), "no reason was given"), strings.Join(over, "; "))})
	case e.Kind == entry.PermitEnd:
		for i, p := range f.permits {
			if p.Log == e.Origin && e.Text("entry") == fmt.Sprint(p.Entry) {
				f.permits[i].Sentence += fmt.Sprintf(" It was ended with entry %d: %s.", e.Index, e.Text("reason"))
			}
		}
	}
}

// forcedSections are none where no permit was forced.
func (s *Source) forcedSections() []Section {
	if len(s.Forced.permits) == 0 {
		return nil
	}
	out := Section{Title: "Forced permits"}
	for _, p := range s.Forced.permits {
		if p.Log == s.Origin {
			p.Log = ""
		}
		out.Blocks = append(out.Blocks, Result{"FORCED PERMIT", p.where() + ": " + p.Sentence})
	}
	return []Section{out}
}

// pageOne is what nobody may overlook, right below the result: permits that were
// forced, which record this is and since when, and what is wrong with it.
func (s *Source) pageOne() []Section {
	out := append(s.forcedSections(), s.record())
	if len(s.Faults) > 0 {
		out = append(out, s.faultSection())
	}
	return out
}
