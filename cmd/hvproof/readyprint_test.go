package main

import (
	"bytes"
	"fmt"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/internal/readiness"
)

// Ready fits a screen of 80 by 24, the answer first, however much is owed, as
// long as the car has no more proofs than the demo's.
func TestReadyFitsTheScreen(t *testing.T) {
	for _, c := range []struct{ owed, items int }{{0, 0}, {1, 0}, {3, 2}, {24, 0}, {24, 40}, {12, 1}} {
		var out bytes.Buffer
		s := &session{app: &app{out: &out, now: time.Now, env: func(string) string { return "" }}, practice: true, record: readiness.NewRecord()}
		d := readyDocument{MayEnergise: c.owed+c.items == 0, Practice: true, Reasons: []string{}, Falling: []string{"a reading that passes and " + strings.Repeat("falls ", 30)}}
		for i := range 24 {
			p := proofDocument{ID: fmt.Sprintf("isolation_whole_all_%d", i), Required: true, State: string(readiness.Holds)}
			if i < c.owed {
				p.State = []string{"void", "missing", "failed", "lapsed"}[i%4]
				d.Reasons = append(d.Reasons, p.ID+" is "+p.State+": because of a reason that is much longer than a line of the screen is wide")
				d.Retest = append(d.Retest, retestDocument{Procedure: p.ID, Minutes: 30 + i, Whole: i%2 == 0, Why: strings.Repeat("because ", 20), Items: []string{"a", "b"}})
			}
			d.Proofs = append(d.Proofs, p)
		}
		for i := range c.items {
			d.Reasons = append(d.Reasons, fmt.Sprintf("item i%d is open: %s", i, strings.Repeat("Ωµ ", 50)))
		}
		s.printReady(d, false)
		lines := strings.Split(strings.TrimSuffix(out.String(), "\n"), "\n")
		assert.LessOrEqual(t, len(lines), screenHigh, "%+v\n%s", c, out.String())
		for _, l := range lines {
			assert.LessOrEqual(t, utf8.RuneCountInString(l), screenWide, l)
		}
		require.Contains(t, lines[0], "PRACTICE - power may")
		if c.owed > 0 {
			assert.Contains(t, out.String(), " 1. isolation_whole_all_0")
		}
		if c.items > 0 {
			assert.Contains(t, out.String(), "item i0 is open")
		}
	}
}
