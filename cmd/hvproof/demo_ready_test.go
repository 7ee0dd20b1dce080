package main

import (
	"bytes"
	"encoding/hex"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/internal/entry"
	"hvproof/internal/ledger"
	"hvproof/internal/readiness"
	"hvproof/internal/report"
	"hvproof/internal/report/pdf"
	"hvproof/internal/run"
)

// screens: at the end of every run of every pass, and after all work and every
// permit, what ready prints fits a screen of 80 by 24, the answer first, and
// says yes only where it gives no reason against.
func (d *tour) screens() {
	t := d.T
	var out bytes.Buffer
	a, s := *d.s.app, *d.s
	a.out, s.app = &out, &a
	s.history, s.record = run.NewHistory(func(b [32]byte) ([]byte, error) { return s.book.Blob(s.ctx, b) }), readiness.NewRecord()
	s.history.Beyond = s.beyond
	reqs := s.folder.Requirements(true)
	shown, yes := 0, 0
	require.NoError(t, ledger.Read(s.ctx, s.book, s.origin, 0, s.entries, func(index int64, e entry.Entry, signer string, raw []byte) error {
		s.record.Apply(e, ledger.Leaf(raw), signer)
		if err := s.history.Apply(e, ledger.Leaf(raw), signer); err != nil {
			return err
		}
		m := s.history.Run(e.Run)
		ends := m != nil && m.Closed() || e.Kind == entry.Rework || e.Kind == entry.Permit || e.Kind == entry.Disposition
		if !ends {
			return nil
		}
		s.made = e.Time
		proofs := readiness.Proofs(s.facts(), reqs, s.now())
		reasons := s.unready(s.folder, proofs)
		out.Reset()
		s.printReady(s.readyJSON(proofs, reasons), false)
		lines := strings.Split(strings.TrimSuffix(out.String(), "\n"), "\n")
		assert.LessOrEqual(t, len(lines), 24, "after entry %d:\n%s", index, out.String())
		for _, l := range lines {
			assert.LessOrEqual(t, utf8.RuneCountInString(l), 80, "after entry %d: %s", index, l)
		}
		answer := "PRACTICE - power may NOT come on"
		if len(reasons) == 0 {
			answer, yes = "PRACTICE - power may come on", yes+1
		}
		assert.True(t, strings.HasPrefix(lines[0], answer), "after entry %d: %s", index, lines[0])
		shown++
		return nil
	}))
	assert.Greater(t, shown, 50, "the story has as many ends")
	assert.Positive(t, yes, "and comes to yes")
}

// files: a waveform that a proof rests on, lost or altered, takes the yes away.
func (d *tour) files() {
	t, s := d.T, d.s
	reqs := s.folder.Requirements(true)
	answer := func() string {
		proofs, err := s.proofs(reqs)
		require.NoError(t, err)
		return strings.Join(s.unready(s.folder, proofs), "\n")
	}
	require.Empty(t, answer())
	waveforms := 0
	for _, e := range d.run("precharge", 1).Events() {
		if e.Body.Kind != entry.Capture {
			continue
		}
		for _, digest := range e.Body.Blobs() {
			waveforms++
			name := hex.EncodeToString(digest[:])
			path := filepath.Join(s.root, "blobs", name[:2], name)
			was, err := os.ReadFile(path)
			require.NoError(t, err)
			require.NoError(t, os.Remove(path))
			assert.Contains(t, answer(), "the entry names a blob that is not there: "+name)
			require.NoError(t, os.WriteFile(path, append(was, '\n'), 0o600))
			assert.Contains(t, answer(), "the entry names a blob whose bytes are others now: "+name)
			require.NoError(t, os.WriteFile(path, was, 0o600))
		}
	}
	assert.Positive(t, waveforms)
	assert.Empty(t, answer())
}

// short: the short form of the car's report is for a table in a garage: some
// twenty sheets, with a section for each proof and no reading lost.
func (d *tour) short() {
	t, s := d.T, d.s
	src, err := s.reportSource()
	require.NoError(t, err)
	r, _, err := s.makeReport(shortCar, src)
	require.NoError(t, err)
	doc, err := s.pdfDocument(shortCar, r, src)
	require.NoError(t, err)
	var printed bytes.Buffer
	require.NoError(t, pdf.Write(&printed, doc))
	sheets := bytes.Count(printed.Bytes(), []byte("/Type /Page\n"))
	assert.True(t, sheets >= 10 && sheets <= 28, "%d sheets", sheets)
	entries := map[string]bool{}
	for _, section := range r.Parts[1].Sections {
		for _, b := range section.Blocks {
			if table, ok := b.(report.Table); ok {
				for _, row := range table.Rows {
					entries[row[5]] = true
				}
			}
		}
	}
	proofs, err := s.proofs(s.folder.Requirements(true))
	require.NoError(t, err)
	readings := 0
	for _, p := range proofs {
		if !p.Required {
			continue
		}
		require.True(t, p.OK(), p.Proof)
		assert.True(t, slices.ContainsFunc(r.Parts[1].Sections, func(s report.Section) bool { return strings.Contains(s.Title, " "+p.Proof+": holds") }), p.Proof)
		for _, item := range p.Items {
			m := s.history.Run(item.Run)
			for _, step := range m.Steps() {
				a := step.Last()
				if step.Step.Item() != item.Item || a == nil || len(step.Step.Limits()) == 0 {
					continue
				}
				readings++
				assert.True(t, entries[strconv.FormatInt(a.Index, 10)], "%s: %s, entry %d", p.Proof, step.Step.Path, a.Index)
			}
		}
	}
	assert.Greater(t, readings, 400)
}

// kept: what the commands that only read say of the demo's whole story is the same
// with the log verified anew and with its entries taken from where they were kept.
func (d *tour) kept() {
	t, a := d.T, d.s.app
	here := 0 // elsewhere the log is read each time
	if runtime.GOOS == "linux" {
		here = 1
	}
	verified := filepath.Join(a.env("HVPROOF_CONFIG"), "verified")
	time.Sleep(waitStill)
	for _, args := range [][]string{{"ready", "--json"}, {"ready", "--all"}, {"log"}, {"item"}, {"permit", "show"}} {
		require.NoError(t, os.RemoveAll(verified))
		var said [3]string
		for i := range said {
			var out, errs bytes.Buffer
			code := program(t.Context(), append([]string{"-C", a.dir}, args...), nil, &out, &errs, a.env, time.Now)
			said[i] = fmt.Sprint(code, "\n", out.String(), errs.String())
			files, err := filepath.Glob(filepath.Join(verified, "kept-*"))
			require.NoError(t, err)
			assert.Len(t, files, here)
		}
		assert.Equal(t, said[0], said[1], args)
		assert.Equal(t, said[0], said[2], args)
	}
}
