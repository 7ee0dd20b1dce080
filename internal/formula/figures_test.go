package formula

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
)

// Expected figures are those of the two demonstration cars, computed by hand
// and by script when the cars were designed ("CALC" in their tables), to four
// digits, or five where the fourth is a tie. An empty end is not in the tables.
var figures = []struct{ car, formula, lo, nominal, hi string }{
	{"sandpiper", "system.max_voltage", "403.2", "403.2", "403.2"},
	{"sandpiper", "packs.left.cells.series * packs.left.cells.nominal", "350.4", "350.4", "350.4"},
	{"sandpiper", "packs.left.total_resistance", "0.04404", "0.0552", "0.06636"},
	{"sandpiper", "packs.right.total_resistance", "0.087405", "0.1095", "0.131595"},
	{"sandpiper", "system.max_voltage / packs.left.total_resistance", "", "", "9155"},
	{"sandpiper", "system.max_voltage / packs.right.total_resistance", "", "", "4613"},
	{"sandpiper", "system.max_voltage / parallel(packs.*.total_resistance)", "", "", "1.377e+04"},
	{"sandpiper", "system.max_voltage / packs.left.total_resistance + system.max_voltage / packs.right.total_resistance", "", "", "1.377e+04"},
	// The check value of the design: naive interval arithmetic gives 0.442…1.001.
	{"sandpiper", "packs.right.total_resistance / (packs.left.total_resistance + packs.right.total_resistance)", "0.5684", "0.6648", "0.7493"},
	{"sandpiper", "share(packs.right.total_resistance, packs.left.total_resistance)", "0.5684", "0.6648", "0.7493"},
	{"sandpiper", "1 / (1 + packs.left.total_resistance / packs.right.total_resistance)", "0.5684", "0.6648", "0.7493"},
	{"sandpiper", "1 - packs.left.total_resistance / (packs.left.total_resistance + packs.right.total_resistance)", "0.5684", "0.6648", "0.7493"},
	{"sandpiper", "drive.demand * packs.right.total_resistance / (packs.left.total_resistance + packs.right.total_resistance)", "", "312.5", "352.1"},
	{"sandpiper", "drive.demand * packs.left.total_resistance / (packs.left.total_resistance + packs.right.total_resistance)", "", "157.5", "202.8"},
	{"sandpiper", "parallel.join_difference / (packs.left.total_resistance + packs.right.total_resistance)", "", "6.072", "7.608"},
	{"sandpiper", "(parallel.join_difference + drive.demand * packs.left.total_resistance) / (packs.left.total_resistance + packs.right.total_resistance)", "", "", "209.3"},
	{"sandpiper", "precharge.tau", "0.0593", "0.06936", "0.08011"},
	{"sandpiper", "-ln(1 - precharge.target) * precharge.tau", "", "0.2078", "0.24"},
	{"sandpiper", "precharge.tau * ln(1 / (1 - 95 %))", "", "0.2078", "0.24"},
	{"sandpiper", "system.max_voltage / precharge.resistance", "", "", "6.241"},
	{"sandpiper", "system.max_voltage * system.max_voltage / precharge.resistance", "", "", "2517"},
	{"sandpiper", "0.5 * dc_link.capacitance * system.max_voltage * system.max_voltage", "", "82.91", "91.2"},
	{"sandpiper", "0.5 * dc_link.capacitance * system.max_voltage * system.max_voltage / precharge.continuous_power", "", "", "1.824"},
	{"sandpiper", "dc_link.bleed / (dc_link.bleed + precharge.resistance)", "0.9966", "", ""},
	{"sandpiper", "(1 - precharge.target) * system.max_voltage", "20.16", "20.16", "20.16"},
	{"sandpiper", "(1 - precharge.target) * system.max_voltage / packs.left.total_resistance", "", "", "457.8"},
	{"sandpiper", "dc_link.bleed * dc_link.capacitance * ln(system.max_voltage / 60 V)", "", "42.75", "49.38"},
	{"sandpiper", "parallel(discharge.resistance, dc_link.bleed) * dc_link.capacitance * ln(system.max_voltage / 60 V)", "", "3.233", "3.734"},
	{"sandpiper", "discharge.resistance * dc_link.bleed / (discharge.resistance + dc_link.bleed) * dc_link.capacitance * ln(system.max_voltage / 60 V)", "", "3.233", "3.734"},
	{"sandpiper", "5 s / (dc_link.capacitance * ln(system.max_voltage / 60 V))", "2339", "", ""},
	{"sandpiper", "system.max_voltage * system.max_voltage / discharge.resistance", "", "", "95.07"},
	{"sandpiper", "system.max_voltage * system.max_voltage / dc_link.bleed", "", "", "7.778"},
	{"sandpiper", "0.5 * (dc_link.y_capacitance + sum(packs.*.y_capacitance)) * system.max_voltage * system.max_voltage", "", "", "0.02926"},
	{"sandpiper", "(system.conductively_connected_ac ? 500 Ω/V : 100 Ω/V) * system.max_voltage", "2.016e+05", "2.016e+05", "2.016e+05"},
	{"sandpiper", "5 * 500 Ω/V * system.max_voltage", "", "1.008e+06", ""},
	{"sandpiper", "parallel(contactors.*.coil, precharge.coil)", "5.023", "", ""},
	{"sandpiper", "shutdown_chain.resistance", "1.085", "1.085", "1.085"},
	{"sandpiper", "sum(shutdown.*.contact)", "0.44", "0.44", "0.44"},
	{"sandpiper", "sum(shutdown.*.wire)", "0.645", "0.645", "0.645"},
	// The check value of the design: naive interval arithmetic gives 7.300 V.
	{"sandpiper", "low_voltage.min * parallel(contactors.*.coil, precharge.coil) / (parallel(contactors.*.coil, precharge.coil) + shutdown_chain.resistance)", "8.635", "", ""},
	{"sandpiper", "low_voltage.min / (1 + shutdown_chain.resistance * (1 / contactors.left_plus.coil + 1 / contactors.left_minus.coil + 1 / contactors.right_plus.coil + 1 / contactors.right_minus.coil + 1 / precharge.coil))", "8.635", "", ""},
	{"sandpiper", "12.8 V * share(parallel(contactors.*.coil, precharge.coil), shutdown_chain.resistance)", "10.53", "", ""},
	{"sandpiper", "9.0 V * (parallel(contactors.*.coil, precharge.coil) + shutdown_chain.resistance) / parallel(contactors.*.coil, precharge.coil)", "", "", "10.94"},
	{"sandpiper", "parallel(contactors.*.coil, precharge.coil) * (low_voltage.min / 9 V - 1)", "0.8372", "", ""},
	{"sandpiper", "(low_voltage.min - pyro.driver_drop) / (pyro.bridge + pyro.harness + pyro.series)", "1.911", "", ""},
	{"sandpiper", "(low_voltage.max - pyro.driver_drop) / (pyro.bridge + pyro.harness + pyro.series)", "", "", "3.375"},
	{"sandpiper", "pyro.bridge + pyro.harness", "1.94", "", "2.66"},
	{"bess", "system.max_voltage", "146", "146", "146"},
	{"bess", "packs.main.total_resistance", "0.019125", "0.0255", "0.031875"},
	{"bess", "system.max_voltage / packs.main.total_resistance", "", "5725", "7634"},
	{"bess", "precharge.tau", "0.3572", "0.47", "0.5922"},
	{"bess", "precharge.tau * ln(20)", "", "1.408", "1.774"},
	{"bess", "0.5 * dc_link.capacitance * system.max_voltage * system.max_voltage", "", "", "60.11"},
	{"bess", "system.max_voltage / precharge.resistance", "", "", "1.537"},
	{"bess", "5 % * system.max_voltage / packs.main.total_resistance", "", "", "381.7"},
	{"bess", "dc_link.bleed * dc_link.capacitance * ln(system.max_voltage / 60 V)", "", "41.8", "52.66"},
	{"bess", "system.max_voltage * exp(-300 s / (dc_link.bleed * dc_link.capacitance))", "", "", "0.921"},
	{"bess", "low_voltage.min * share(parallel(contactors.*.coil), shutdown_chain.resistance)", "10.81", "", ""},
	{"bess", "9.0 V / share(parallel(contactors.*.coil), shutdown_chain.resistance)", "", "", "9.158"},
	{"bess", "max(100 Ω/V * system.max_voltage, workshop.isolation)", "1e+06", "1e+06", "1e+06"},
	{"bess", "0.5 * 120 nF * system.max_voltage * system.max_voltage", "", "", "0.001279"},
}

func TestFiguresOfTheCars(t *testing.T) {
	cars := map[string]Env{"sandpiper": sandpiperEnv(t), "bess": bessEnv(t)}
	for _, f := range figures {
		r := eval(t, cars[f.car], f.formula)
		same := func(want string, got float64, which string) {
			if want != "" {
				digits := max(4, len(strings.TrimLeft(strings.Replace(want, ".", "", 1), "0")))
				if strings.Contains(want, "e") {
					digits = 4
				}
				assert.Equal(t, want, fmt.Sprintf("%.*g", digits, got), "%s of %s", which, f.formula)
			}
		}
		same(f.lo, r.Lo, "lowest")
		same(f.nominal, r.Nominal, "nominal")
		same(f.hi, r.Hi, "highest")
		assert.NotEqual(t, Outer, r.Exactness, f.formula)
	}
}
