//go:build outside

package hv

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/internal/hv/spicetest"
)

func TestSharingAgainstSpice(t *testing.T) {
	found := spicetest.Run(t, `parallel sharing of three unequal packs
v1 a 0 403.2
r1 a i1 0.0552
vm1 i1 bus 0
v2 b 0 402.1
r2 b i2 0.1095
vm2 i2 bus 0
v3 c 0 401.5
r3 c i3 0.0730
vm3 i3 bus 0
iload bus 0 470
.control
op
let one = i(vm1)
let two = i(vm2)
let three = i(vm3)
let bus = v(bus)
print one two three bus
.endc
.end
`)
	currents, bus := Share([]Source{{403.2, 0.0552}, {402.1, 0.1095}, {401.5, 0.0730}}, 470)
	spicetest.Agree(t, found, "one", currents[0])
	spicetest.Agree(t, found, "two", currents[1])
	spicetest.Agree(t, found, "three", currents[2])
	spicetest.Agree(t, found, "bus", bus)
}

func TestEqualisingAgainstSpice(t *testing.T) {
	found := spicetest.Run(t, equalising(0))
	packs := []Store{{Source{363, 0.0552}, 1312.5}, {Source{362, 0.1095}, 656.25}, {Source{362, 0.0800}, 900}}
	first, _ := Equalise(packs, 0.1)
	spicetest.Agree(t, found, "first", first[0])
	found = spicetest.Run(t, equalising(first[0]*0.1))
	_, seconds := Equalise(packs, 0.1)
	spicetest.Agree(t, found, "tenth", seconds)
}

// equalising is three packs, each a large capacitor, joined at rest.
func equalising(at float64) string {
	return fmt.Sprintf(`equalising of three packs
c1 a 0 1312.5 ic=363
r1 a i1 0.0552
vm1 i1 bus 0
c2 b 0 656.25 ic=362
r2 b i2 0.1095
vm2 i2 bus 0
c3 d 0 900 ic=362
r3 d i3 0.0800
vm3 i3 bus 0
.tran 0.05 800 0 0.05 uic
.measure tran first find i(vm1) at=0.1
.measure tran tenth when i(vm1)=%g fall=1
.end
`, at)
}

func TestPrechargeAgainstSpice(t *testing.T) {
	for name, c := range map[string]struct {
		p      Precharge
		target float64
		to     float64
		load   string
	}{
		"bleed":          {Precharge{Volts: 403.2, Ohms: 68, Farads: 1.02e-3, Load: 22e3}, 383, 0.5, "rload link 0 22k"},
		"resistive load": {Precharge{Volts: 134, Ohms: 100, Farads: 4.7e-3, Load: 900}, 110, 4, "rload link 0 900"},
		"constant power": {Precharge{Volts: 134, Ohms: 100, Farads: 4.7e-3, Watts: 25, From: 60}, 105, 12,
			"bload link 0 i = v(link) > 60 ? 25/v(link) : 0"},
		"both": {Precharge{Volts: 400, Ohms: 600, Farads: 500e-6, Load: 60e3, Watts: 30, From: 150}, 300, 12,
			"rload link 0 60k\nbload link 0 i = v(link) > 150 ? 30/v(link) : 0"},
	} {
		t.Run(name, func(t *testing.T) {
			found := spicetest.Run(t, fmt.Sprintf(`pre-charge with %s
v1 pack 0 %g
r1 pack link %g
c1 link 0 %g ic=0
%s
.tran %g %g 0 %g uic
.measure tran reached when v(link)=%g rise=1
.measure tran end find v(link) at=%g
.end
`, name, c.p.Volts, c.p.Ohms, c.p.Farads, c.load, c.to/20000, c.to, c.to/20000, c.target, c.to*0.999))
			spicetest.Agree(t, found, "reached", c.p.TimeTo(c.target))
			spicetest.Agree(t, found, "end", c.p.At(c.to*0.999))
			stall, steady := c.p.Stall()
			require.True(t, steady)
			spicetest.Agree(t, found, "end", stall)
		})
	}
}

func TestDischargeAgainstSpice(t *testing.T) {
	found := spicetest.Run(t, `two stages: bleed alone for 0.2 s, then the active discharge as well
c1 link 0 1.122m ic=403.2
rbleed link 0 23.1k
vcontrol control 0 pwl(0 0 0.2 0 0.200001 5)
s1 link d control 0 relay
rdis d 0 1890
.model relay sw vt=2.5 vh=0 ron=1m roff=1g
.tran 1m 8 0 1m uic
.measure tran dead when v(link)=60 fall=1
.end
`)
	spicetest.Agree(t, found, "dead", DischargeTime(403.2, 1.122e-3, 60, Stage{23.1e3, 0.2}, Stage{Ohms: parallel(1890, 23.1e3)}))
}

// The bridge of the two-voltage method: unequal leakages, one meter that is
// moved from pole to pole and loads what it reads.
func TestTwoVoltageBridgeAgainstSpice(t *testing.T) {
	const vb, rp, rn, meter, r0 = 362.4, 1.7e6, 34.4e6, 10e6, 200e3
	read := func(where, extra string) float64 {
		found := spicetest.Run(t, fmt.Sprintf(`two-voltage bridge
v1 plus minus %g
rp plus chassis %g
rn chassis minus %g
rm %s %g
%s
rground chassis 0 1m
.control
op
let reading = abs(v(%s))
print reading
.endc
.end
`, vb, rp, rn, where, meter, extra, map[string]string{"chassis minus": "chassis)-v(minus", "plus chassis": "plus)-v(chassis"}[where]))
		return found["reading"]
	}
	v1 := read("chassis minus", "")
	v2 := read("plus chassis", "")
	prime := read("chassis minus", fmt.Sprintf("r0 chassis minus %g", r0))
	got, err := TwoVoltage{VB: Uncertain{X: vb}, V1: Uncertain{X: v1}, V2: Uncertain{X: v2}, VPrime: Uncertain{X: prime},
		R0: Uncertain{X: r0}, R0At: Negative, MeterResistance: meter}.Isolation()
	require.NoError(t, err)
	assert.InEpsilon(t, rp, got.Weaker.X, spicetest.Agreement)
	assert.InEpsilon(t, rn, got.Other.X, spicetest.Agreement)
	assert.Equal(t, Positive, got.Pole)
	t.Logf("weaker pole %.6g Ω of %.6g, other %.6g of %.6g", got.Weaker.X, rp, got.Other.X, rn)
	leak, err := LeakAlong(Uncertain{X: v1}, Uncertain{X: v2}, got.Both, nil)
	require.NoError(t, err)
	assert.InDelta(t, (1/rp)/(1/rp+1/rn), leak.Fraction.X, 1e-3)
}

// An insulation tester into a capacitance: what it shows is 1 % off at the
// time given.
func TestSettlingAgainstSpice(t *testing.T) {
	tester := Tester{Volts: 500, Amps: 1e-3}
	const ohms, farads = 10e6, 600e-9
	at := 0.01 * 500 / (500e3 + ohms)
	found := spicetest.Run(t, fmt.Sprintf(`insulation tester
v1 t 0 500
rs t x 500k
vm x y 0
r1 y 0 %g
vc y z 0
c1 z 0 %g ic=0
.tran 0.5m 5 0 0.5m uic
.measure tran settled when i(vc)=%g fall=1
.end
`, ohms, farads, at))
	spicetest.Agree(t, found, "settled", tester.Settling(ohms, farads, 0.01))
	require.False(t, math.IsNaN(found["settled"]))
}

// The current of a coil that flows on through its diode or clamp until it is
// that of drop_out.
func TestCoilAgainstSpice(t *testing.T) {
	times := map[string]float64{}
	for name, clamp := range map[string]float64{"diode": 0.7, "clamp": 24} {
		c := Coil{Volts: 14.6, Ohms: 24, Henries: 0.2, Clamp: clamp}
		found := spicetest.Run(t, fmt.Sprintf(`coil with %s
lcoil a b %g ic=%.9g
rcoil b c %g
vm c d 0
d1 d e ideal
vclamp e a %g
rground a 0 1meg
.model ideal d(is=1e-12 n=0.001)
.tran 5u 60m 0 5u uic
.measure tran released when i(vm)=%.9g fall=1
.end
`, name, c.Henries, c.Volts/c.Ohms, c.Ohms, clamp, 1.2/c.Ohms))
		times[name] = c.Decay(1.2)
		spicetest.Agree(t, found, "released", times[name])
	}
	// A diode makes the release several times longer: relay makers print 2 to
	// 5 times (catalogue, read).
	require.Greater(t, times["diode"], 2*times["clamp"])
	assert.Zero(t, Coil{Volts: 1, Ohms: 24, Henries: 0.2}.Decay(1.2))
}
