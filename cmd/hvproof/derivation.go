package main

import (
	"fmt"
	"strings"

	"hvproof/internal/deskcheck"
	"hvproof/internal/plan"
)

// checkLine prints a desk check before its limit: what the value comes to, and
// whether it is refused.
func checkLine(page deskcheck.Page, c *deskcheck.Check, where string) string {
	switch {
	case c.Missing != "":
		return fmt.Sprintf("%s\n    not checked: %s", where, c.Missing)
	case len(c.Refused) > 0:
		return fmt.Sprintf("%s\n    REFUSED at the desk: %s", where, c.Sentence(c.Refused[0]))
	}
	v := c.Value
	line := fmt.Sprintf("%s\n    value %s = %s", where, v.Formula, rangeText(plan.Input{Lo: v.Lo, Hi: v.Hi, Dim: v.Dim}))
	if note := page.Note(*c); note != "" {
		line += ", " + note
	}
	return line
}

// background is what else there is to say of a limit: its worst corner, what
// it means for a person, what happens if it is exceeded.
func background(page deskcheck.Page, l limitLine) []deskcheck.Line {
	part, _, _ := strings.Cut(l.part, " ")
	if l.listed != nil {
		part = l.listed.Item
	}
	var out []deskcheck.Line
	for _, line := range []deskcheck.Line{
		{Word: "worst corner", Text: page.Corner(l.Bound, part)},
		{Word: "it means", Text: page.Leakage(l.Bound)},
		{Word: "if exceeded", Text: l.purpose},
	} {
		if line.Text != "" {
			out = append(out, line)
		}
	}
	return out
}

// printPage prints a page with its words at the margin.
func (a *app) printPage(lines []deskcheck.Line) {
	for _, l := range lines {
		if l.Word != "" || l.Text != "" {
			a.printf("      %-14s %s\n", l.Word, l.Text)
		}
	}
}
