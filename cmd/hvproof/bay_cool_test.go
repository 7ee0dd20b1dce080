package main

import (
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// heats is a procedure whose first step charges the DC link. After a try that
// failed its resistor may hold 900 J and sheds 50 W: 18 s (the project's table).
const heats = `format: 1
procedure: heats
title: Heats
stage: A
steps:
  - id: one
    heats: {precharge: precharge.energy}
    measure: Command pre-charge; DC link, read it.
    unit: V
    with: voltmeter
    at_least: 300 V
    source: a test
  - id: two
    confirm: Done.
    choices: ["no", done]
    expect: done
`

// hotResistor takes a run of heats on the page to the second try.
func (b *bench) hotResistor(pairs ...string) *device {
	b.car.write("vehicle.yaml", strings.Replace(b.car.read("vehicle.yaml"), "dc_link:",
		"precharge: {resistance: 68 Ω ±5%, continuous_power: 50 W, pulse_energy: 900 J, target: 95%}\ndc_link:", 1))
	b.car.write("procedures/heats.yaml", heats)
	d := b.device()
	d.get("/begin/heats")
	d.post("/begin/heats", pairs...)
	require.Equal(b.t, "/run", d.where, d.words())
	d.says("Command pre-charge")
	d.read("100", "V").says("Once more with the reason")
	return d.answer("then", "again", "reason", "it was not plugged")
}

// TestBayCool: the page asks to wait for a resistor, as the terminal does, and
// records nothing of it.
func TestBayCool(t *testing.T) {
	b := newBench(t)
	d := b.hotResistor("operator", "operator")
	d.says("of earlier tries are still in the precharge resistor", "Wait at least 18 s")
	assert.NotContains(t, headingOf(d.body), "Command pre-charge", "not before it is cold")
	size := b.size()
	d.answer("digits", "5", "unit", "s").refused(http.StatusUnprocessableEntity, "are still to be waited")
	d.answer("digits", "20", "unit", "s").says("Command pre-charge", "Attempt 2")
	assert.Equal(t, size, b.size())
	d.read("362", "V").says("Done.")
	b.end()

	// Where it counts, this machine's clock must agree; and who waits may stop.
	b = newRealBench(t)
	d = b.hotResistor("operator", "r.mills", "passphrase", "quiet copper door")
	d.says("of earlier tries are still in the precharge resistor")
	d.answer("digits", "100", "unit", "s").refused(http.StatusUnprocessableEntity, "are still to be waited")
	size = b.size()
	b.skew = 30 * time.Second
	d.answer("digits", "30", "unit", "s").says("Command pre-charge", "Attempt 2")
	assert.Equal(t, http.StatusOK, d.status, d.words())
	assert.Equal(t, size, b.size(), "it has cooled between page and answer: nobody is late")
	d.post("/run/leave").says("The state of the car first")
	b.end()
}
