package run

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/internal/plan"
	"hvproof/internal/quantity"
)

// A reading within what is expected is not asked back, however wide that is;
// one that is three times as much, and outside, is.
func TestExpectedIsNotAskedBack(t *testing.T) {
	start := func(low, high float64) Start {
		p := &plan.Plan{Car: "Testbed", Procedure: "volts", Title: "Volts", Stage: "A", Practice: true, People: 1,
			Steps: []plan.Step{volts("pole", magnitude("dead", 500), window(low, high, quantity.Volt))}, SignOut: 1}
		return testStart(p)
	}
	b := newBench(t, start(0, 100))
	require.NoError(t, b.give("pole", Answer{Text: "1.26 V"}))
	assert.Equal(t, Pass, b.decision("pole"))

	b = newBench(t, start(90, 110))
	err := b.give("pole", Answer{Text: "402.1 V"})
	var back *AskBack
	require.ErrorAs(t, err, &back)
	assert.Equal(t, []string{"402.1 V? This car's data give 90 V to 110 V."}, back.Questions)
}
