package main

import (
	"encoding/hex"
	"io"
	"sync"

	"hvproof/internal/bay"
	"hvproof/internal/capture"
	"hvproof/internal/capture/feature"
	"hvproof/internal/diag"
	"hvproof/internal/entry"
	"hvproof/internal/run"
)

// traces keeps the waveform that was read last: each view of it asks for it
// anew.
type traces struct {
	mu    sync.Mutex
	of    string
	wave  *capture.Waveform
	found *feature.Analysis
}

// bayTrace is one recorded capture. The record is not touched by it, so that
// it may be read and drawn beside whatever the page does.
type bayTrace struct {
	car     *bayCar
	machine *run.Machine
	step    run.StepResult
	attempt run.Attempt
	digest  [32]byte
}

// Trace finds the capture that an entry of a run recorded.
func (c *bayCar) Trace(id string, index int64) (bay.Trace, error) {
	m := c.history.Run(id)
	if m == nil {
		return nil, diag.Bad("", "there is no run %q", id)
	}
	for _, s := range m.Steps() {
		for _, a := range s.Attempts {
			if a.Index != index || a.Body.Kind != entry.Capture {
				continue
			}
			digest, err := hex.DecodeString(a.Body.Text("file"))
			if err != nil || len(digest) != 32 {
				return nil, diag.Machine("", "entry %d names no file", index)
			}
			return &bayTrace{c, m, s, a, [32]byte(digest)}, nil
		}
	}
	return nil, diag.Bad("", "run %s has no waveform %d", id, index)
}

// Title says which step recorded what.
func (t *bayTrace) Title() string { return t.step.Step.Text + " (" + t.attempt.Body.Text("name") + ")" }

// read gives the waveform, from the log's store where it was not read last.
// The store gives only what has the digest that was recorded.
func (t *bayTrace) read() (*capture.Waveform, *feature.Analysis, error) {
	kept := &t.car.traces
	kept.mu.Lock()
	defer kept.mu.Unlock()
	of := t.machine.ID() + " " + hex.EncodeToString(t.digest[:]) + " " + t.step.Step.Path + " " + t.attempt.Body.Text("text")
	if kept.of == of {
		return kept.wave, kept.found, nil
	}
	file, err := t.car.store.Blob(t.car.ctx, t.digest)
	if err != nil {
		return nil, nil, err
	}
	w, found, err := t.machine.Waveform(t.step.Step, &t.attempt, file)
	if err != nil {
		return nil, nil, err
	}
	kept.of, kept.wave, kept.found = of, w, found
	return w, found, nil
}

// Span gives the times that the capture covers, and its number of samples.
func (t *bayTrace) Span() (from, to float64, samples int, err error) {
	w, found, err := t.read()
	if err != nil {
		return 0, 0, 0, err
	}
	from, to, samples = feature.Span(w, found)
	return from, to, samples, nil
}

// Draw draws what lies between two times.
func (t *bayTrace) Draw(to io.Writer, from, till float64, narrow bool) error {
	w, found, err := t.read()
	if err != nil {
		return err
	}
	chart := feature.ChartWithin(found.Kind+", "+t.attempt.Body.Text("name"), w, found, from, till)
	if narrow {
		return chart.Draw(400, 420).SVG(to)
	}
	return chart.Draw(760, 430).SVG(to)
}
