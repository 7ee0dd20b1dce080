//go:build outside

package deskcheck

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"

	"hvproof/internal/hv/spicetest"
)

// The formula for the release of a coil, in the car's table of derived
// values, against ngspice: the current that flows on through the diode or the
// clamp until it is that of drop_out.
func TestCoilReleaseAgainstSpice(t *testing.T) {
	times := map[string]float64{}
	for name, clamp := range map[string]float64{"diode": 0.7, "clamp": 24} {
		car := parse(t, fmt.Sprintf(`format: 1
name: Coil
low_voltage: {max: 14.6 V}
contactors:
  a: {coil: 24 Ω, inductance: 0.2 H, clamp: %g V, drop_out: 1.2 V, release_time: 12 ms}
`, clamp))
		ours, err := car.DerivedValue("contactors.a.coil_decay_time")
		require.NoError(t, err)
		found := spicetest.Run(t, fmt.Sprintf(`coil with %s
lcoil a b 0.2 ic=%.9g
rcoil b c 24
vm c d 0
d1 d e ideal
vclamp e a %g
rground a 0 1meg
.model ideal d(is=1e-12 n=0.001)
.tran 5u 60m 0 5u uic
.measure tran released when i(vm)=%.9g fall=1
.end
`, name, 14.6/24, clamp, 1.2/24))
		spicetest.Agree(t, found, "released", ours.Nominal)
		times[name] = ours.Nominal
	}
	// A diode makes the release several times longer: relay makers print 2 to
	// 5 times (catalogue, read).
	require.Greater(t, times["diode"], 2*times["clamp"])
}
