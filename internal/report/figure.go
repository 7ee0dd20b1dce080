package report

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"math"

	"hvproof/internal/capture/feature"
	"hvproof/internal/entry"
	"hvproof/internal/plan"
	"hvproof/internal/plot"
	"hvproof/internal/run"
)

// Figure draws a recorded waveform from the file that the record keeps, read as
// the answer said, with fit, levels and marks: the drawing that `hvproof
// capture --plot` makes. blob gives a file of the record by its SHA-256.
//
// remark says in words why there is no drawing, or what is wrong with what is
// drawn; it is empty where all is well.
func Figure(m *run.Machine, s *plan.Step, a *run.Attempt, blob func(digest [32]byte) ([]byte, error)) (c *plot.Chart, remark string) {
	if a.Body.Kind != entry.Capture {
		return nil, ""
	}
	name := a.Body.Text("file")
	digest, err := hex.DecodeString(name)
	if err != nil || len(digest) != sha256.Size {
		return nil, "NOT DRAWN: the entry names no file"
	}
	if blob == nil {
		return nil, "NOT DRAWN: the files of the record are not at hand"
	}
	file, err := blob([32]byte(digest))
	switch {
	case err != nil:
		return nil, "NOT DRAWN: the file of the recording is missing, or is not the one that was recorded"
	case sha256.Sum256(file) != [32]byte(digest):
		return nil, "NOT DRAWN: the file kept here is not the one that was recorded"
	}
	w, found, err := m.Waveform(s, a, file)
	if err != nil {
		return nil, fmt.Sprintf("NOT DRAWN: the file that was recorded cannot be read again: %v", err)
	}
	drawn := feature.Chart(found.Kind+", "+a.Body.Text("name"), w, found)
	if len(drawn.Panels) == 0 {
		return nil, "NOT DRAWN: the recording shows no curve"
	}
	if other := differing(a.Features(s), found.Features); other != "" {
		remark = fmt.Sprintf("READ AGAIN IT GIVES OTHER NUMBERS than were recorded (%s): what was judged is what was recorded, and the drawing is of the numbers read now", other)
	}
	return &drawn, remark
}

// differing names the first number that was recorded otherwise than it is now
// read. Machines may differ in the last digits.
func differing(recorded []run.Feature, read []feature.Feature) string {
	now := map[string]float64{}
	for _, f := range read {
		now[f.Name] = f.Value
	}
	for _, f := range recorded {
		x, ok := now[f.Name]
		if !ok {
			return f.Name + " is not found"
		}
		if math.Abs(x-f.Value) > 1e-6*math.Max(math.Abs(x), math.Abs(f.Value))+1e-3*f.U {
			return fmt.Sprintf("%s %s, and was %s", f.Name, number(x, f.Dim), number(f.Value, f.Dim))
		}
	}
	return ""
}

// A drawn is a waveform's drawing and what is to be said of it.
type drawn struct {
	chart  *plot.Chart
	remark string
}

// figure draws an answer once.
func (c *course) figure(s *plan.Step, a *run.Attempt) drawn {
	d, ok := c.figures[a.Index]
	if !ok {
		d.chart, d.remark = Figure(c.m, s, a, c.Blob)
		c.figures[a.Index] = d
	}
	return d
}

// undrawn names the waveforms with which something is wrong.
func (c *course) undrawn() []string {
	var out []string
	for i := range c.steps {
		r := &c.steps[i]
		for n := range r.Attempts {
			if a := &r.Attempts[n]; c.figure(r.Step, a).remark != "" {
				out = append(out, fmt.Sprintf("%s, entry %d: %s", r.Step.Path, a.Index, c.figure(r.Step, a).remark))
			}
		}
	}
	return out
}
