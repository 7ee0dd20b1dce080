package heat

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"hvproof/internal/plan"
	"hvproof/internal/run"
)

// The demo car's pre-charge resistor: 91.20 J at worst, 50 W for ever, so
// that 1.824 s lie between two tries (calculated in the project's table);
// 900 J in one go.
var resistor = plan.Heat{Part: "precharge", Joules: 91.20, Pulse: 900, Watts: 50}

func TestAccount(t *testing.T) {
	noon := time.Date(2027, 3, 20, 12, 0, 0, 0, time.UTC)
	at := func(seconds float64, decision string) try {
		return try{noon.Add(time.Duration(seconds * float64(time.Second))), resistor, joules(resistor, decision)}
	}
	after := func(seconds float64) time.Time { return noon.Add(time.Duration(seconds * float64(time.Second))) }

	one := account("precharge", []try{at(0, run.Pass)}, noon)
	assert.Equal(t, 1, one.Tries)
	assert.InDelta(t, 91.20, one.Joules, 1e-9)
	assert.InDelta(t, 1.824, one.Wait.Seconds(), 1e-9)
	assert.Zero(t, account("precharge", []try{at(0, run.Pass)}, after(1.824)).Wait)

	// The second comes before the first is gone: what is held adds up.
	two := account("precharge", []try{at(0, run.Pass), at(1, run.Pass)}, after(1))
	assert.InDelta(t, 91.20-50+91.20, two.Held, 1e-9)
	assert.InDelta(t, 182.4, two.Joules, 1e-9)

	// One that failed may have run into a short: 900 J, 18 s.
	bad := account("precharge", []try{at(0, run.Fail)}, noon)
	assert.InDelta(t, 18, bad.Wait.Seconds(), 1e-9)
	assert.InDelta(t, 900, account("precharge", []try{at(0, run.CannotDecide)}, noon).Joules, 1e-9)

	// Yesterday's are not today's joules, but may still be in it.
	late := []try{at(12*3600-1, run.Pass)}
	next := account("precharge", late, after(12*3600))
	assert.Zero(t, next.Tries)
	assert.InDelta(t, 41.20, next.Held, 1e-6)
	east := time.FixedZone("+01:00", 3600)
	assert.Equal(t, 1, account("precharge", []try{at(11*3600, run.Pass)}, after(11*3600+60).In(east)).Tries, "the day is that of the place")

	// An entry from a clock that was ahead is not counted before its time, and
	// a resistor whose cooling is not known has no wait to show.
	assert.Zero(t, account("precharge", []try{at(60, run.Pass)}, noon).Joules)
	unknown := try{noon, plan.Heat{Part: "discharge", Joules: 91.2}, 91.2}
	a := account("discharge", []try{unknown}, after(3600))
	assert.Zero(t, a.Wait)
	assert.InDelta(t, 91.2, a.Held, 1e-9)
}

func TestHeated(t *testing.T) {
	p := &plan.Plan{Steps: []plan.Step{{Heats: []plan.Heat{resistor}}, {Heats: []plan.Heat{resistor, {Part: "discharge"}}}, {}}}
	assert.Equal(t, []string{"precharge", "discharge"}, Heated(p))
}
