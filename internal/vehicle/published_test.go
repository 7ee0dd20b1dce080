package vehicle_test

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A published example is a car of a few numbers and what was printed for it, or
// calculated from it, in the source named: nominal values, to the digits given.
type published struct {
	source string
	volts  int // of one pack of cells of 4 V
	file   string
	want   map[string]float64
	within float64 // of each value, for the digits that the source prints
}

var examples = []published{
	{"inverter maker's manual, pp. 31 and 33: 171 W, about 0.5 A, 0.9 s, 2.7 mA (read); 170.67 W, 25.6 J, 100.4 s (calculated)", 320,
		"precharge: {resistance: 600 Ω, target: 95%}\ndc_link: {capacitance: 500 µF, bleed: 120 kΩ}",
		map[string]float64{"precharge.peak_power": 170.67, "precharge.peak_current": 0.5333, "precharge.energy": 25.6, "precharge.time": 0.8987,
			"dc_link.bleed_power": 2.667e-3 * 320, "discharge.passive_time": 100.4}, 5e-4},
	{"resistor maker's page: 47.0 ms, 17.0 A, 13617 W, 320.0 J (read, inputs inferred), 140.8 ms (exact); 40 V over 20 mΩ are 2000 A (calculated)", 800,
		"precharge: {resistance: 47 Ω, target: 95%}\ndc_link: {capacitance: 1000 µF}",
		map[string]float64{"precharge.tau": 0.0470, "precharge.peak_current": 17.02, "precharge.peak_power": 13617, "precharge.energy": 320, "precharge.time": 0.1408,
			"precharge.residual_voltage": 40, "precharge.inrush": 2000}, 5e-4},
	{"a published calculation: 8 A (read); 3 mF: 0.15 s, 0.449 s, 3.2 kW, 240 J (calculated)", 400,
		"precharge: {resistance: 50 Ω, target: 95%}\ndc_link: {capacitance: 3 mF}",
		map[string]float64{"precharge.peak_current": 8, "precharge.tau": 0.15, "precharge.time": 0.4494, "precharge.peak_power": 3200, "precharge.energy": 240}, 5e-4},
	{"90 % of 400 V leave 40 V, 2000 A over 20 mΩ (calculated); FSAE 2026 EV.5.6.1a for 90 %", 400,
		"precharge: {resistance: 50 Ω, target: 90%}\ndc_link: {capacitance: 3 mF}",
		map[string]float64{"precharge.residual_voltage": 40, "precharge.inrush": 2000}, 5e-4},
	{"discharge to 60 V in 5 s, FSAE 2026 EV.7.2.2c and EV.5.6.5 (limits read): 2171 Ω, 165.8 W, 2487 J (calculated)", 600,
		"discharge: {resistance: 2171 Ω, within: 5 s, to: 60 V}\ndc_link: {capacitance: 1000 µF}",
		map[string]float64{"discharge.largest_resistance": 2171.5, "discharge.peak_power": 165.8, "discharge.held_energy": 2487, "discharge.active_time": 5}, 5e-4},
	{"the same at 800 V and 500 µF: 3861 Ω, 165.8 W (calculated)", 800,
		"discharge: {resistance: 3861 Ω, within: 5 s, to: 60 V}\ndc_link: {capacitance: 500 µF}",
		map[string]float64{"discharge.largest_resistance": 3861, "discharge.peak_power": 165.8}, 5e-4},
	{"the same at 400 V and 1000 µF: 2636 Ω (calculated)", 400,
		"discharge: {within: 5 s, to: 60 V}\ndc_link: {capacitance: 1000 µF}", map[string]float64{"discharge.largest_resistance": 2636}, 5e-4},
	{"the same at 320 V and 500 µF: 5974 Ω (calculated)", 320,
		"discharge: {within: 5 s, to: 60 V}\ndc_link: {capacitance: 500 µF}", map[string]float64{"discharge.largest_resistance": 5974}, 5e-4},
	{"½CV² = 0.2 J, ISO 6469-4:2015 5.2.3 (read): 2.5 µF at 400 V (calculated)", 400, "dc_link: {y_capacitance: 2.5 µF}", map[string]float64{"system.y_energy": 0.2}, 5e-4},
	{"the same: 1.111 µF at 600 V (calculated)", 600, "dc_link: {y_capacitance: 1.111 µF}", map[string]float64{"system.y_energy": 0.2}, 5e-4},
	{"the same: 625 nF at 800 V (calculated)", 800, "dc_link: {y_capacitance: 625 nF}", map[string]float64{"system.y_energy": 0.2}, 5e-4},
	{"the same: 400 nF at 1000 V (calculated)", 1000, "dc_link: {y_capacitance: 400 nF}", map[string]float64{"system.y_energy": 0.2}, 5e-4},
	{"switchgear maker's note (read): 200 µΩ at 1200 A are 288 W", 400, "drive: {demand: 1200 A}\njoints: {busbar: {pack: one, resistance: 200 µΩ}}", map[string]float64{"joints.busbar.loss": 288}, 5e-4},
	{"IEC 60228 class 5 (read): 2 m of 35 mm² have 1.108 mΩ at 20 °C, K_t 0.862 at 60 °C", 400,
		"bonding: {strap_section: 35 mm², strap_length: 2 m}\ncables: {a: {section: 35 mm², length: 2 m, temperature: 60 °C}}",
		map[string]float64{"bonding.strap_resistance": 1.108e-3, "cables.a.resistance": 1.108e-3 / 0.862}, 5e-4},
}

func TestPublishedExamples(t *testing.T) {
	for _, e := range examples {
		car := parse(t, fmt.Sprintf(`format: 1
name: Example
packs: {one: {cells: {series: %d, parallel: 1, max: 4 V, fault_resistance: %g mΩ}, path: 10 mΩ, y_capacitance: 0 nF}}
fuses: {one: {rating: 100 A}}
%s
`, e.volts/4, 10/float64(e.volts/4), e.file))
		for name, want := range e.want {
			got, err := car.DerivedValue(name)
			require.NoError(t, err, "%s: %s", e.source, name)
			assert.InEpsilon(t, want, got.Nominal, e.within, "%s: %s", e.source, name)
		}
		assert.True(t, strings.Contains(e.source, "read") || strings.Contains(e.source, "calculated"), "the source says how it is known")
	}
	assert.Len(t, examples, 14)
}
