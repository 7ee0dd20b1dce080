package main

import (
	"encoding/hex"
	"strings"

	"hvproof/internal/capture"
	"hvproof/internal/capture/feature"
	"hvproof/internal/plan"
	"hvproof/internal/quantity"
	"hvproof/internal/run"
)

// captureDocument is a capture as `capture` and the steps of a run give it.
type captureDocument struct {
	Kind     string                       `json:"kind"`
	Features map[string]*quantityDocument `json:"features"`
	Findings []findingDocument            `json:"findings"`
	Channels []channelDocument            `json:"channels,omitempty"`
	Notes    []string                     `json:"notes,omitempty"`
	File     string                       `json:"sha256,omitempty"`
	Importer string                       `json:"importer,omitempty"`
	Settings []string                     `json:"settings,omitempty"`
}

type channelDocument struct {
	Role   string `json:"role"`
	Column string `json:"column"`
	From   string `json:"from"` // "given", "name", "unit" or "only channel"
}

// findingDocument is something seen in a capture.
type findingDocument struct {
	Code     string `json:"code"`
	Sentence string `json:"sentence"`
}

func captureJSON(w *capture.Waveform, found *feature.Analysis) captureDocument {
	d := captureDocument{Kind: found.Kind, Features: featuresJSON(found.Features), Findings: findingsJSON(found.Findings),
		File: hex.EncodeToString(w.SHA256[:]), Importer: w.Importer,
		Settings: strings.Split(strings.TrimSpace(w.Detected.String()), "\n")}
	for _, r := range found.Roles {
		d.Channels = append(d.Channels, channelDocument{Role: r.Role, Column: r.Channel, From: r.From})
	}
	d.Notes = append(d.Notes, found.Notes...)
	for _, n := range w.Notes {
		d.Notes = append(d.Notes, n.Sentence)
	}
	return d
}

func featuresJSON(features []feature.Feature) map[string]*quantityDocument {
	out := map[string]*quantityDocument{}
	for _, f := range features {
		if q := quantityJSON(f.Value, f.Dim); q != nil {
			q.U, q.Bound = f.U, boundWord(f.Side)
			out[f.Name] = q
		}
	}
	return out
}

func findingsJSON(findings []feature.Finding) []findingDocument {
	out := []findingDocument{}
	for _, f := range findings {
		out = append(out, findingDocument{Code: f.Code, Sentence: f.Sentence})
	}
	return out
}

// recordedCapture gives a capture as a run's entry has it.
func recordedCapture(step *plan.Step, a *run.Attempt) *captureDocument {
	d := &captureDocument{Kind: step.Function, Features: map[string]*quantityDocument{}, Findings: []findingDocument{},
		File: a.Body.Text("file"), Importer: a.Body.Text("importer"), Settings: a.Body.Family("setting")}
	for _, f := range a.Features(step) {
		if q := quantityJSON(f.Value, f.Dim); q != nil {
			q.Bound = boundWord(f.Side)
			q.within(f.U)
			d.Features[f.Name] = q
		}
	}
	for _, text := range a.Findings {
		if code, rest, ok := strings.Cut(text, ": "); ok && feature.IsCode(code) {
			d.Findings = append(d.Findings, findingDocument{Code: code, Sentence: rest})
		}
	}
	return d
}

// boundWord gives the word for a one-sided value.
func boundWord(s quantity.Side) string {
	switch s {
	case quantity.Above:
		return "above"
	case quantity.Below:
		return "below"
	}
	return ""
}

// printCapture prints how a file was read and what was found in it.
func (a *app) printCapture(c *captured) {
	a.printf("%s\n", c.name)
	for _, line := range strings.Split(strings.TrimSpace(c.w.Detected.String()), "\n") {
		a.printf("    %s\n", line)
	}
	a.printf("    sha-256: %s\n", hex.EncodeToString(c.w.SHA256[:]))
	for _, r := range c.Roles {
		a.printf("    %s\n", r)
	}
	a.printFound(c.Analysis)
	for _, n := range c.w.Notes {
		a.printf("note: %s\n", n.Sentence)
	}
}

// printFound prints numbers, findings and notes.
func (a *app) printFound(found *feature.Analysis) {
	a.printf("\n%s\n", found.Kind)
	for _, f := range found.Features {
		a.printf("    %-28s %s\n", f.Name, featureText(f))
	}
	if len(found.Findings) == 0 {
		a.printf("\nno findings\n")
	}
	for _, f := range found.Findings {
		a.printf("\n%s\n", f.Code)
		a.printf("%s\n", indented(f.Sentence, 76))
	}
	for i, n := range found.Notes {
		if i == 0 {
			a.printf("\n")
		}
		a.printf("note: %s\n", n)
	}
}

// featureText gives a feature as printed: "69.4 ms ± 0.12 ms".
func featureText(f feature.Feature) string {
	text := quantity.Format(quantity.Value{SI: f.Value, Dim: f.Dim}, 4, quantity.RoundNearest)
	if f.Dim == quantity.One {
		text = quantity.Format(quantity.Value{SI: 100 * f.Value, Dim: quantity.One}, 4, quantity.RoundNearest) + " %"
	}
	switch f.Side {
	case quantity.Above:
		text = "above " + text
	case quantity.Below:
		text = "below " + text
	}
	u := quantity.Format(quantity.Value{SI: f.U, Dim: f.Dim}, 2, quantity.RoundUp)
	if f.Dim == quantity.One {
		u = quantity.Format(quantity.Value{SI: 100 * f.U, Dim: quantity.One}, 2, quantity.RoundUp) + " %"
	}
	return text + " ± " + u
}

// indented breaks a sentence into lines of at most so many characters.
func indented(text string, most int) string {
	var b strings.Builder
	column := 0
	for _, word := range strings.Fields(text) {
		n := len([]rune(word))
		switch {
		case column == 0:
			b.WriteString("    ")
			column = 4
		case column+1+n > most:
			b.WriteString("\n    ")
			column = 4
		default:
			b.WriteByte(' ')
			column++
		}
		b.WriteString(word)
		column += n
	}
	return b.String()
}
