package main

import (
	"bytes"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/internal/entry"
	"hvproof/internal/run"
)

// chargeProcedure is the bench check with a pre-charge's waveform.
const chargeProcedure = `format: 1
procedure: bench
title: Bench check
stage: A
purpose: Too quick means a wrong resistor.
proves: {bench: [main]}
holds_for: {days: 365}
make_safe: [Leads off.]
steps:
  - id: tau
    capture: Command pre-charge; DC link and pack on the scope.
    kind: precharge
    with: scope
    find:
      tau: {between: [60 ms, 80 ms]}
    part: precharge
    source: pre-charge resistor times DC-link capacitance
`

const chargeScope = `  scope-1:
    kind: scope
    serial: "7"
    roles: [scope]
    category: CAT III
    max_voltage: 1000 V
    calibrated_until: 2999-12-31
    functions:
      voltage: {unit: V, ranges: [{to: 500 V, digit: 0.1 V, reading: 0.5%}]}
`

// charging is a pre-charge as a recorder writes it, of that time constant in s.
func charging(tau float64) []byte {
	var b bytes.Buffer
	b.WriteString("Time (s),link (V),pack (V)\n")
	for i := range 3201 {
		t, v := -0.01+1e-4*float64(i), 362.4
		if t < 0.25 {
			v *= -math.Expm1(-math.Max(0, t) / tau)
		}
		wobble := 0.3 * math.Sin(float64(i)*1.7) // stands for noise
		fmt.Fprintf(&b, "%.4f,%.2f,%.2f\n", t, v+wobble, 362.4-wobble)
	}
	return b.Bytes()
}

func appendTo(t *testing.T, file, text string) {
	t.Helper()
	require.NoError(t, os.WriteFile(file, append(bytesOf(t, file), text...), 0o600))
}

// forge runs the bench check with that recording, by the program's own means and
// with the people's own keys, but for the capture's entry, which it alters.
func (c *triedCar) forge(file []byte, alter func(*entry.Body)) error {
	c.t.Helper()
	a := &app{dir: c.dir, out: io.Discard, err: io.Discard, now: time.Now, started: time.Now(),
		env: func(name string) string { return map[string]string{"HVPROOF_CONFIG": c.config}[name] }}
	s, err := a.write(c.t.Context())
	require.NoError(c.t, err)
	defer s.close()
	folder, err := s.load()
	require.NoError(c.t, err)
	start, err := s.prepare(folder, "bench", runFlags{}, &answersFile{})
	require.NoError(c.t, err)
	require.Empty(c.t, s.refusals(start, folder))
	require.NoError(c.t, s.unlock(start.Operator, nil))
	m, err := s.beginRun(start)
	require.NoError(c.t, err)
	_, err = s.store.PutBlob(c.t.Context(), file)
	require.NoError(c.t, err)
	for p := m.Next(); p.Kind != run.Finished; p = m.Next() {
		answer := run.Answer{At: s.now(), Confirm: true}
		if p.Kind == run.AskCapture {
			answer.Text, answer.File = "charge.csv", file
		}
		bodies, err := m.Answer(p, answer)
		require.NoError(c.t, err, "%v", p.Key)
		for _, b := range bodies {
			if b.Kind == entry.Capture && alter != nil {
				alter(&b)
			}
			require.NoError(c.t, s.unlock(start.Operator, nil))
			if _, err := s.commit(b, start.Operator); err != nil {
				return err
			}
		}
	}
	return nil
}

// newChargedCar is a tried car with a pre-charge to record.
func newChargedCar(t *testing.T) *triedCar {
	c := newTriedCar(t)
	c.chargeInstead()
	return c
}

// chargeInstead lets the bench check ask for a pre-charge's waveform.
func (c *triedCar) chargeInstead() {
	c.t.Helper()
	require.NoError(c.t, os.WriteFile(filepath.Join(c.dir, "procedures", "bench.yaml"), []byte(chargeProcedure), 0o600))
	appendTo(c.t, filepath.Join(c.dir, "instruments.yaml"), chargeScope)
	appendTo(c.t, filepath.Join(c.dir, "vehicle.yaml"), "precharge: {resistance: 68 Ω ±5%}\n")
}

// forgePass records a pre-charge that is too quick, with numbers and decision of
// one that is not.
func (c *triedCar) forgePass() {
	c.t.Helper()
	require.NoError(c.t, c.forge(charging(0.0348), func(b *entry.Body) {
		require.Equal(c.t, run.Fail, b.Text("decision"), "or nothing is forged: %v", b)
		b.Fields = slices.DeleteFunc(b.Fields, func(f entry.Field) bool { return strings.HasPrefix(f.Name, "finding ") })
		for i, f := range b.Fields {
			switch {
			case f.Name == "decision":
				b.Fields[i].Value = run.Pass
			case strings.HasPrefix(f.Value, "tau "):
				b.Fields[i].Value = "tau 0.07 s 0.0001"
			}
		}
	}))
}

// TestForgedFeatures: numbers of a capture forged so that a fail becomes a pass,
// every signature good, every file there. verify finds it by reading the file
// again, ready refuses, and both reports say so on page one. The same recording
// as it should be, by the same way, is fine.
func TestForgedFeatures(t *testing.T) {
	fine := newChargedCar(t)
	require.NoError(t, fine.forge(charging(0.0709), nil))
	code, out, errs := fine.hvproof("-C", fine.dir, "ready")
	require.Equal(t, 0, code, out+errs)
	code, d := fine.verify(fine.dir)
	assert.Equal(t, 0, code, "%v", d)

	c := newChargedCar(t)
	c.forgePass()
	const says = "pass is recorded, and the waveform itself gives fail"
	code, d = c.verify(c.dir)
	assert.Equal(t, 1, code)
	require.Len(t, d.Faults, 1)
	assert.Equal(t, "refuted-decision", d.Faults[0].Code)
	assert.Contains(t, d.Faults[0].Sentence, says)
	assert.False(t, d.OK)
	code, out, errs = c.hvproof("-C", c.dir, "ready", "--json")
	assert.Equal(t, 1, code, out+errs)
	assert.Contains(t, out, says)
	assert.Contains(t, out, `"state":"failed"`)
	id := strings.TrimSuffix(strings.Fields(d.Faults[0].Sentence)[1], ",")
	for _, which := range []string{"--car", "--short", id} {
		_, out, errs = c.hvproof("-C", c.dir, "report", which)
		assert.Contains(t, out+errs, "DOES NOT VERIFY", which)
		assert.Contains(t, strings.Join(strings.Fields(out), " "), says, which)
	}

	require.NoError(t, c.forge(charging(0.0709), nil)) // measured again: it holds, and the record keeps what was forged
	code, out, errs = c.hvproof("-C", c.dir, "ready")
	assert.Equal(t, 0, code, out+errs)
	code, _ = c.verify(c.dir)
	assert.Equal(t, 1, code)
}

// TestHeldCaptures: ready reads a capture once and notes that it bears out its
// decision; one that refutes it is never noted. Whoever writes such a note by hand
// gets a yes from ready, and no permit: for that every capture is read again.
func TestHeldCaptures(t *testing.T) {
	noted := func(c *triedCar) string {
		files, err := filepath.Glob(filepath.Join(c.config, "verified", "held-*"))
		require.NoError(t, err)
		if len(files) == 0 {
			return ""
		}
		require.Len(t, files, 1)
		return files[0]
	}
	fine := newChargedCar(t)
	require.NoError(t, fine.forge(charging(0.0709), nil))
	code, out, errs := fine.hvproof("-C", fine.dir, "ready")
	require.Equal(t, 0, code, out+errs)
	require.NotEmpty(t, noted(fine))
	was := bytesOf(t, noted(fine))
	assert.Equal(t, 2, bytes.Count(was, []byte("\n")), "its head and one capture: %s", was)
	code, again, errs := fine.hvproof("-C", fine.dir, "ready")
	assert.Equal(t, 0, code, again+errs)
	assert.Equal(t, out, again)
	assert.Equal(t, was, bytesOf(t, noted(fine)))

	c := newChargedCar(t)
	c.forgePass()
	for range 2 {
		code, out, errs = c.hvproof("-C", c.dir, "ready")
		assert.Equal(t, 1, code, out+errs)
		assert.Empty(t, noted(c))
	}
	a := &app{dir: c.dir, out: io.Discard, err: io.Discard, now: time.Now,
		env: func(name string) string { return map[string]string{"HVPROOF_CONFIG": c.config}[name] }}
	s, err := a.read(t.Context())
	require.NoError(t, err)
	defer s.close()
	runs := s.history.Runs()
	m := runs[len(runs)-1]
	key := captureKey(m, m.Steps()[0].Last())
	require.NoError(t, s.home.RememberHeld(s.origin, verifier(), [][32]byte{key}))
	code, out, errs = c.hvproof("-C", c.dir, "ready")
	assert.Equal(t, 0, code, out+errs)
	code, out, errs = c.hvproof("-C", c.dir, "permit", "grant", "--answers", "permit.yaml")
	assert.Equal(t, 1, code, out+errs)
	assert.Contains(t, out+errs, "the waveform itself gives fail")
}

// TestRefutedInBundle: whoever has the bundle alone, without this device's notes,
// reads its captures, too.
func TestRefutedInBundle(t *testing.T) {
	fine := newChargedCar(t)
	require.NoError(t, fine.forge(charging(0.0709), nil))
	forged := newChargedCar(t)
	forged.forgePass()
	for _, c := range []struct {
		car  *triedCar
		want int
		says string
	}{{fine, 0, " verifies: "}, {forged, 1, "refuted-decision"}} {
		file := filepath.Join(t.TempDir(), "car.zip")
		code, out, errs := c.car.hvproof("-C", c.car.dir, "bundle", "-o", file)
		require.FileExists(t, file, out+errs)
		assert.Equal(t, c.want, code, out+errs)
		assert.Equal(t, c.want == 1, strings.Contains(errs, "the bundle will not either"), errs)
		code, out, errs = c.car.hvproof("verify", file)
		assert.Equal(t, c.want, code, out+errs)
		assert.Contains(t, out, c.says)
	}
}
