package main

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// TestBayLongRun prints how much longer an answer takes in a run of 500 steps
// than in one of 10, the next page included.
func TestBayLongRun(t *testing.T) {
	short, long := answerTime(t, 10), answerTime(t, 500)
	t.Logf("an answer over the page, with the page that follows: %s in a run of 10 steps, %s in one of 500, ratio %.2f",
		short.Round(10*time.Microsecond), long.Round(10*time.Microsecond), long.Seconds()/short.Seconds())
}

// answerTime gives the median time of nine answers in the middle of a run
// with so many steps.
func answerTime(t *testing.T, steps int) time.Duration {
	t.Helper()
	var text strings.Builder
	text.WriteString("format: 1\nprocedure: many\ntitle: Many\nstage: A\npurpose: Long.\nsteps:\n")
	for i := range steps {
		fmt.Fprintf(&text, "  - {id: s%d, observe: Look at %d., choices: [bad, good], expect: good}\n", i, i)
	}
	b := &bench{t: t, car: newCar(t, t.TempDir())}
	b.car.write("procedures/many.yaml", text.String())
	b.serve()
	defer b.end()
	d := b.device().get("/begin/many")
	d.post("/begin/many", "operator", "operator")
	require.Equal(t, "/run", d.where, d.words())
	var times []time.Duration
	for range 9 {
		begun := time.Now()
		d.answer("text", "good")
		times = append(times, time.Since(begun))
		require.Equal(t, 200, d.status)
	}
	slices.Sort(times)
	return times[len(times)/2]
}
