package html

import (
	"bytes"
	"fmt"
	"html"
	"regexp"
	"slices"
	"strconv"
)

// What the program found wrong with a record stands in the page in words that
// need no script, and keeps the script from calling the record verified. Of a
// record without fault the same place says what the program looked at: a page
// in which nothing is said is not as the program wrote it.

const (
	beforeFound = `<section id="found" `
	afterFound  = "</section>\n"
	elsewhere   = `<li class="elsewhere" `
)

// faults gives everything that the program found wrong.
func (p *Page) faults() []Remark { return slices.Concat(p.Elsewhere, p.Faults) }

// answer is what the page says before its script has run.
func (p *Page) answer() string {
	const until = "this page shows nothing until its script has checked every signature. Where this stays, the browser runs no scripts."
	all := p.faults()
	if len(all) == 0 {
		return "<p id=\"answer\" class=\"answer\">NOT VERIFIED: " + until + "</p>\n"
	}
	return fmt.Sprintf("<p id=\"answer\" class=\"answer no\">DOES NOT VERIFY: %s. So says hvproof %s, which wrote this page. Beside that, %s</p>\n",
		escape(all[0].Sentence), p.Version, until)
}

// writeFound writes what the program found. The numbers let the script see that
// something was taken out by hand; who alters them, too, is found out by whoever
// makes the page anew.
func writeFound(b *bytes.Buffer, p Page) {
	all, hidden := p.faults(), ""
	if len(all) == 0 {
		hidden = " hidden"
	}
	fmt.Fprintf(b, "%sdata-waveforms=\"%d\" data-faults=\"%d\"%s>\n", beforeFound, p.Waveforms, len(all), hidden)
	if len(all) > 0 {
		fmt.Fprintf(b, "<h2>Faults that hvproof %s found as it wrote this page</h2>\n<ul>\n", p.Version)
		for i, r := range all {
			li := "<li "
			if i < len(p.Elsewhere) {
				li = elsewhere
			}
			fmt.Fprintf(b, "%sdata-of=\"%s %d\"><b>entry %d, %s:</b> %s</li>\n", li, escape(r.Log), r.Entry, r.Entry, escape(r.Code), escape(r.Sentence))
		}
		b.WriteString("</ul>\n")
	}
	held := "The record holds no waveform"
	if p.Waveforms > 0 {
		held = fmt.Sprintf("It read the waveforms of the record (%d) again and held them against the decisions on them; those that it could not read again stand among its remarks", p.Waveforms)
	}
	fmt.Fprintf(b, "<p>hvproof %s, which wrote this page, found %s of integrity in the record. %s.</p>\n%s", p.Version, number(len(all)), held, afterFound)
}

func number(n int) string {
	switch n {
	case 0:
		return "no fault"
	case 1:
		return "1 fault"
	}
	return fmt.Sprintf("%d faults", n)
}

var elsewhereLine = regexp.MustCompile(`(?m)^` + elsewhere + `data-of="([^" ]*) (0|[1-9][0-9]{0,17})"><b>entry (?:0|[1-9][0-9]{0,17}), ([a-z-]{1,40}):</b> ([^\n]*)</li>$`)

// readElsewhere gives the faults that the record alone does not tell, as a
// page has them.
func readElsewhere(head []byte) []Remark {
	_, found, _ := bytes.Cut(head, []byte("\n"+beforeFound))
	found, _, _ = bytes.Cut(found, []byte(afterFound))
	var out []Remark
	for _, m := range elsewhereLine.FindAllSubmatch(found, -1) {
		at, err := strconv.ParseInt(string(m[2]), 10, 64)
		if err != nil {
			continue // the expression lets none through
		}
		out = append(out, Remark{Log: html.UnescapeString(string(m[1])), Entry: at, Code: string(m[3]), Sentence: html.UnescapeString(string(m[4]))})
	}
	return out
}
