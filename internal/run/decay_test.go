package run

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/internal/hv"
)

// The demo car's table: 362.4 V falls to 60 V in 3.131 s from the opening;
// from 403.2 V it would be 3.317 s. V = V0·e^(−t/RC), the law of a capacitor.
func TestDecayTimeFromFullCharge(t *testing.T) {
	in := func(time, start, u float64) args {
		return args{values: map[string]hv.Uncertain{"time": {X: time}, "start": {X: start, U: u}, "full": {X: 403.2}, "target": {X: 60}}}
	}
	c, err := decayTime(in(3.131, 362.4, 0))
	require.NoError(t, err)
	assert.InDelta(t, 3.317, c.x, 0.0005)
	assert.Zero(t, c.u)

	const tau = 1.741
	for _, start := range []float64{100, 200, 362.4, 403.2} {
		c, err := decayTime(in(tau*math.Log(start/60), start, 0))
		require.NoError(t, err)
		assert.InEpsilon(t, tau*math.Log(403.2/60), c.x, 1e-12, "whatever the day's voltage")
	}
	c, err = decayTime(in(3.131, 362.4, 2))
	require.NoError(t, err)
	low, err := decayTime(in(3.131, 360.4, 0))
	require.NoError(t, err)
	assert.GreaterOrEqual(t, c.x+c.u, low.x-1e-12, "a start that was lower than read is covered")

	for _, start := range []float64{61, 60, 40, -362} {
		_, err := decayTime(in(1, start, 2))
		assert.Error(t, err, "from %v V", start)
	}
}
