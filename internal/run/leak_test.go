package run

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/internal/hv"
)

// The demo car's whole with the hidden leak: 362.2 V, 336.8 and 11.53 V, with
// 200 kΩ at the negative pole 115.5 V (its table). One leak would sit at
// 336.8/(336.8 + 11.53) = 97 % of the string, near its positive end.
func TestLeakAlongIsNoted(t *testing.T) {
	in := args{words: map[string]string{"r0_at": "negative"}, meterResistance: 10e6, values: map[string]hv.Uncertain{
		"vb": {X: 362.2, U: 2}, "v1": {X: 336.8, U: 1.9}, "v2": {X: 11.53, U: 0.08}, "v_prime": {X: 115.5, U: 0.8}, "r0": {X: 200e3, U: 2e3}}}
	c, err := isolationTwoVoltage(in)
	require.NoError(t, err)
	assert.Contains(t, strings.Join(c.notes, "; "), "if it is one leak, it sits at 97 % ± 1 % of the string's voltage, counted from minus")
	// Beside 1.5 MΩ and 20 MΩ that were there before, the rest is more than
	// one leak on the string can explain, or at its end.
	in.values["background_plus"], in.values["background_minus"] = hv.Uncertain{X: 3e6}, hv.Uncertain{X: 20e6}
	c, err = isolationTwoVoltage(in)
	require.NoError(t, err)
	said := strings.Join(c.notes, "; ")
	assert.Contains(t, said, "if it is one leak, it sits at 97 %")
	assert.Regexp(t, `beside the known background, one leak is 4[0-9.]+ kΩ and sits at 9\d % ±`, said)
	// A background that explains it all leaves nothing to be placed.
	in.values["background_plus"], in.values["background_minus"] = hv.Uncertain{X: 411.8e3}, hv.Uncertain{X: 12.0e6}
	c, err = isolationTwoVoltage(in)
	require.NoError(t, err)
	assert.Contains(t, strings.Join(c.notes, "; "), "beside the known background, what remains is too little to say where it sits")
}
