package main

import (
	"fmt"
	"slices"
	"strings"
	"unicode/utf8"

	"hvproof/internal/plan"
	"hvproof/internal/readiness"
)

// The screen that ready fits, for a car like the demo's.
const (
	screenWide = 80
	screenHigh = 24
)

// printReady gives the answer first, then the shortest way to yes, then what
// stands. With all it gives every proof on a line of its own.
func (s *session) printReady(d readyDocument, all bool) {
	a := s.app
	var out []string
	say := func(format string, args ...any) { out = append(out, fit(fmt.Sprintf(format, args...))) }
	mark := ""
	if d.Practice {
		mark = "PRACTICE - "
	}
	hold, required := 0, 0
	for _, p := range d.Proofs {
		if p.Required {
			required++
			if p.State == string(readiness.Holds) || p.State == string(readiness.NotApplicable) {
				hold++
			}
		}
	}
	if d.MayEnergise {
		say("%spower may come on: all %d required proofs hold", mark, required)
	} else {
		say("%spower may NOT come on: %d of %d required proofs hold", mark, hold, required)
	}
	if d.Rules != "" {
		say("as %s would have it; the log stays as it is", d.Rules)
	}
	if all {
		for _, l := range out {
			a.printf("%s\n", l)
		}
		a.printProofs(d)
		return
	}
	if p := d.Permit; p != nil && !d.MayEnergise && len(p.Forced) == 0 {
		say("permit to energise %d does not count now: see below", p.Entry)
	} else {
		say("%s", s.permitLine())
	}
	say("")
	tail := s.standing(d)
	room := screenHigh - len(out) - len(tail) - 1
	out = append(out, theWay(d, room)...)
	for _, l := range append(out, tail...) {
		a.printf("%s\n", l)
	}
}

// theWay gives the shortest way to yes in at most room lines.
func theWay(d readyDocument, room int) []string {
	if d.MayEnergise {
		return nil
	}
	var way, other []string
	for i, r := range d.Retest {
		what := r.Procedure
		if !r.Whole {
			what += " --retest"
		}
		way = append(way, fit(fmt.Sprintf("%2d. %-31s %3d min  %s", i+1, what, r.Minutes, owedWords(r))))
	}
	for _, r := range d.Reasons {
		if !slices.ContainsFunc(d.Proofs, func(p proofDocument) bool { return strings.HasPrefix(r, p.ID+" is ") }) {
			other = append(other, fit("  - "+r))
		}
	}
	out := []string{}
	if len(way) > 0 {
		out = append(out, fit(fmt.Sprintf("the shortest way, about %d min in all: hvproof run …", d.Minutes)))
	}
	some := min(len(other), max(2, room-len(way)-3))
	if most := room - len(out) - some - 2; len(way) > most && most > 0 {
		n := len(way) - most + 1
		way = append(way[:most-1], fmt.Sprintf("    and %d more", n))
	}
	out = append(out, way...)
	if len(other) > 0 {
		out = append(out, "also in the way")
		if some < len(other) {
			other = append(other[:some-1], fmt.Sprintf("    and %d more", len(other)-some+1))
		}
		out = append(out, other...)
	}
	return append(out, "")
}

func owedWords(r retestDocument) string {
	if r.Whole {
		return r.Why
	}
	if len(r.Items) == 0 {
		return "only what stands in no loop"
	}
	return "only " + strings.Join(r.Items, ", ")
}

// standing gives the proofs by their state, in few lines, and what else there
// is to see.
func (s *session) standing(d readyDocument) []string {
	var out []string
	for _, state := range []readiness.State{readiness.Failed, readiness.Void, readiness.Lapsed, readiness.Missing, readiness.Holds, readiness.NotApplicable} {
		var names []string
		for _, p := range d.Proofs {
			if p.State == string(state) && (p.Required || state == readiness.Holds) {
				names = append(names, p.ID)
			}
		}
		if len(names) > 0 {
			out = append(out, wrap(fmt.Sprintf("%-8s", state), names, 2)...)
		}
	}
	if n := len(d.Falling); n > 0 {
		out = append(out, fit(fmt.Sprintf("falling  %d: %s", n, d.Falling[0])))
	}
	out = append(out, fit("baseline "+s.record.Baseline().String()))
	return append(out, "hvproof ready --all says why; tested, in this state, at this time; not more")
}

// wrap sets words behind a heading, in at most most lines.
func wrap(head string, words []string, most int) []string {
	line, out := head, []string(nil)
	for i, w := range words {
		if utf8.RuneCountInString(line)+1+utf8.RuneCountInString(w) > screenWide-12 {
			if len(out) == most-1 {
				return append(out, fmt.Sprintf("%s and %d more", line, len(words)-i))
			}
			out, line = append(out, line), strings.Repeat(" ", len(head))
		}
		line += " " + w
	}
	return append(out, line)
}

// fit cuts a line to the width of the screen.
func fit(line string) string {
	if utf8.RuneCountInString(line) <= screenWide {
		return line
	}
	return string([]rune(line)[:screenWide-1]) + "…"
}

func (a *app) printProofs(d readyDocument) {
	stage := ""
	for _, p := range d.Proofs {
		if p.Stage != stage {
			stage = p.Stage
			a.printf("stage %s\n", stage)
		}
		name := p.ID
		if !p.Required {
			name += " (not required)"
		}
		line := fmt.Sprintf("  %-34s %-14s %s", name, p.State, p.Reason)
		if p.Until != "" {
			line += " until " + p.Until
		}
		a.printf("%s\n", strings.TrimRight(line, " "))
	}
	if !d.MayEnergise {
		a.printf("\nin the way:\n")
		for _, r := range d.Reasons {
			a.printf("  - %s\n", r)
		}
	}
	if len(d.Unasked) > 0 {
		a.printf("\n%s has limits, too, that no step here is judged by: %s\n", d.Rules, strings.Join(d.Unasked, ", "))
	}
	a.printf("\n%s\n", d.baseline)
	for _, f := range append(slices.Clone(d.Falling), d.Outliers...) {
		a.printf("  - %s\n", f)
	}
	a.printf("\nTested, with these results, in this state, at this time; not more. Local codes,\nthe rule book in force, the maker's instructions and licensed people come first.\n")
}

// retestDocument is one run of a retest plan.
type retestDocument struct {
	Procedure string   `json:"procedure"`
	Title     string   `json:"title"`
	Whole     bool     `json:"whole"`
	Items     []string `json:"items"` // turns of loops to be walked; what stands in no loop is not named
	Proofs    []string `json:"proofs"`
	Why       string   `json:"why,omitempty"`
	People    int      `json:"people"`
	Roles     []string `json:"instruments"`
	Minutes   int      `json:"minutes"`
}

func retestJSON(r readiness.Retest) retestDocument {
	d := retestDocument{Procedure: r.Plan.Procedure, Title: r.Plan.Title, Whole: r.Whole, Items: []string{}, Proofs: r.Proofs, Why: r.Why,
		People: r.Plan.People, Roles: append([]string{}, r.Roles...), Minutes: r.Minutes}
	for _, i := range r.Items {
		if i != plan.Frame {
			d.Items = append(d.Items, i)
		}
	}
	return d
}
