package checklists_test

import (
	"regexp"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/checklists"
	"hvproof/internal/quantity"
	"hvproof/internal/rules"
	"hvproof/internal/vehicle"
	"hvproof/internal/yamlfile"
)

// volts is the demo car's highest voltage: 96 cells of 4.20 V.
const volts = 96 * 4.20

// A book's figure for the demo car, by plain arithmetic from what the book
// says; the source stands beside each.
type bookFigure struct {
	set, id string
	kind    quantity.BoundKind
	figure  float64 // low of at_least, high of at_most
	method  string
	volts   float64 // least test voltage
	amperes float64 // least test current
}

var bookFigures = []bookFigure{
	// UN R100, conductively connected: 500 Ω/V of the working voltage (5.1.3.2);
	// tester at half the working voltage at least; bonding below 0.1 Ω at 0.2 A
	// (5.1.2.2); high voltage above 60 V DC or 30 V AC; 60 V within 1 s of
	// opening a connector (5.1.1); inlet 1 MΩ (5.1.3.4, from memory).
	{"un-r100", "isolation_whole", quantity.AtLeast, 500 * volts, "two-voltage", 0, 0},
	{"un-r100", "insulation_resistance_joined", quantity.AtLeast, 500 * volts, "joined-pole", volts / 2, 0},
	{"un-r100", "bonding", quantity.AtMost, 0.1, "", 0, 0.2},
	{"un-r100", "dead_voltage", quantity.MagnitudeAtMost, 60, "", 0, 0},
	{"un-r100", "dead_voltage_ac", quantity.MagnitudeAtMost, 30, "ac", 0, 0},
	{"un-r100", "connector_dead_time", quantity.AtMost, 1, "", 0, 0},
	{"un-r100", "isolation_inlet", quantity.AtLeast, 1e6, "joined-pole", 0, 0},
	{"un-r100", "isolation_test_voltage", quantity.AtLeast, volts / 2, "", 0, 0},
	// Formula Student: EV1.2.1, EV6.3.3, EV5.7.1, EV6.1.5, EV5.6.4, EV3.1; the
	// 5 Ω of composites from memory.
	{"formula-student", "insulation_resistance_joined", quantity.AtLeast, 500 * volts, "joined-pole", volts, 0},
	{"formula-student", "monitor_response", quantity.AtLeast, 500 * volts, "", 0, 0},
	{"formula-student", "precharge_fraction", quantity.AtLeast, 0.95, "", 0, 0},
	{"formula-student", "emergency_off_time", quantity.AtMost, 5, "", 0, 0},
	{"formula-student", "discharge_time", quantity.AtMost, 5, "", 0, 0},
	{"formula-student", "contactor_release_time", quantity.AtMost, 0.25, "", 0, 0},
	{"formula-student", "fuse_rating", quantity.AtMost, 1000, "", 0, 0},
	{"formula-student", "dead_voltage", quantity.MagnitudeAtMost, 60, "", 0, 0},
	{"formula-student", "dead_voltage_ac", quantity.MagnitudeAtMost, 25, "ac", 0, 0},
	{"formula-student", "bonding", quantity.AtMost, 0.3, "", 0, 1},
	{"formula-student", "bonding_composite", quantity.AtMost, 5, "", 0, 1},
	{"formula-student", "isolation_test_voltage", quantity.AtLeast, volts, "", 0, 0},
	// FSAE 2026: IN.10.2.1-2, EV.7.6.3, IN.10.1.2, EV.5.6.1a, EV.7.2.2c,
	// EV.5.4.5, T.9.1, EV.6.7.1-2.
	{"fsae", "insulation_resistance_joined", quantity.AtLeast, 500 * volts, "joined-pole", 500, 0},
	{"fsae", "monitor_response", quantity.AtLeast, 500 * volts, "", 0, 0},
	{"fsae", "monitor_response_time", quantity.AtMost, 30, "", 0, 0},
	{"fsae", "monitor_test_resistance", quantity.Between, 225*volts - 15e3, "", 0, 0}, // high end: 250 Ω/V less the test point
	{"fsae", "precharge_fraction", quantity.AtLeast, 0.90, "", 0, 0},
	{"fsae", "emergency_off_time", quantity.AtMost, 5, "", 0, 0},
	{"fsae", "discharge_time", quantity.AtMost, 5, "", 0, 0},
	{"fsae", "contactor_release_time", quantity.AtMost, 0.25, "", 0, 0},
	{"fsae", "dead_voltage", quantity.MagnitudeAtMost, 60, "", 0, 0},
	{"fsae", "dead_voltage_ac", quantity.MagnitudeAtMost, 25, "ac", 0, 0},
	{"fsae", "bonding", quantity.AtMost, 0.3, "", 0, 1},
	{"fsae", "bonding_composite", quantity.AtMost, 5, "", 0, 1},
	{"fsae", "isolation_test_voltage", quantity.AtLeast, 500, "", 0, 0},
	// Motorsport UK, National Competition Rules 2026, chapter 7 appendix 11:
	// 12.21-12.23, article 16.
	{"motorsport-uk", "isolation_whole", quantity.AtLeast, 500 * volts, "", 0, 0},
	{"motorsport-uk", "insulation_resistance_joined", quantity.AtLeast, 500 * volts, "joined-pole", 100, 0},
	{"motorsport-uk", "contactor_release_time", quantity.AtMost, 2, "", 0, 0},
	{"motorsport-uk", "isolation_test_voltage", quantity.AtLeast, 100, "", 0, 0},
	// The workshop's own, where a wrong figure could hurt somebody: what the
	// table of the demo car adopts; igniter test current a tenth of no-fire and
	// never above 10 mA (common practice of blasting meters, from memory).
	{"workshop", "isolation_whole", quantity.AtLeast, 500 * volts, "two-voltage", 0, 0},
	{"workshop", "isolation_pack", quantity.AtLeast, 5 * 500 * volts, "two-voltage", 0, 0},
	{"workshop", "isolation_part", quantity.AtLeast, 5 * 500 * volts, "joined-pole", volts / 2, 0},
	{"workshop", "dead_voltage", quantity.MagnitudeAtMost, 60, "", 0, 0},
	{"workshop", "dead_voltage_ac", quantity.MagnitudeAtMost, 30, "ac", 0, 0},
	{"workshop", "emergency_off_time", quantity.AtMost, 5, "", 0, 0},
	{"workshop", "discharge_time", quantity.AtMost, 5, "", 0, 0},
	{"workshop", "contactor_release_time", quantity.AtMost, 0.25, "", 0, 0},
	{"workshop", "precharge_fraction", quantity.AtLeast, 0.95, "", 0, 0},
	{"workshop", "y_energy", quantity.AtMost, 0.2, "", 0, 0}, // ISO 6469-4:2015 5.2.3
	{"workshop", "bonding", quantity.AtMost, 0.1, "", 0, 0.2},
	{"workshop", "pyro_test_current", quantity.AtMost, 0.010, "", 0, 0},
	{"workshop", "pyro_firing_current", quantity.AtLeast, 1.5 * 1.2, "", 0, 0},
	{"workshop", "monitor_response", quantity.AtLeast, 500 * volts, "", 0, 0},
	{"workshop", "monitor_response_time", quantity.AtMost, 30, "", 0, 0},
}

// Every rule set by itself, so that no other set's stricter figure hides a
// wrong one.
func TestEveryRuleBookByItself(t *testing.T) {
	checked := map[string]int{}
	for _, set := range []string{"un-r100", "formula-student", "fsae", "motorsport-uk", "workshop"} {
		byID := listedAlone(t, set)
		for _, want := range bookFigures {
			if want.set != set {
				continue
			}
			l, ok := byID[want.id]
			require.True(t, ok, "%s has no %s", set, want.id)
			checked[set]++
			got := l.Low
			if want.kind != quantity.AtLeast && want.kind != quantity.Between {
				got = l.High
			}
			name := set + " " + want.id
			assert.Equal(t, want.kind, l.Kind, name)
			assert.InEpsilon(t, want.figure, got, 1e-9, name)
			assert.Equal(t, want.method, l.Method, name)
			assert.InDelta(t, want.volts, l.MinTestVoltage, 1e-9, name)
			assert.InDelta(t, want.amperes, l.MinTestCurrent, 1e-9, name)
		}
		if set != "workshop" {
			assert.Len(t, byID, checked[set], "%s has a limit that nothing here checks", set)
		}
	}
}

// listedAlone gives the limits of one set for the demo car assessed to it.
func listedAlone(t *testing.T, id string) map[string]rules.Listed {
	t.Helper()
	b, err := checklists.Files.ReadFile("demo/vehicle_second.yaml")
	require.NoError(t, err)
	text := regexp.MustCompile(`(?m)^assessed_to: .*$`).ReplaceAll(b, []byte("assessed_to: ["+id+"]"))
	require.NotEqual(t, b, text)
	file, problems := yamlfile.Parse("vehicle.yaml", text)
	require.Empty(t, problems)
	car, problems := vehicle.Parse(file)
	require.False(t, problems.Errors(), problems)
	set, problems := rules.Parse(parse(t, "rules/"+id+".yaml"))
	require.Empty(t, problems)
	book, problems := rules.NewBook([]*rules.Set{set}, car)
	require.False(t, problems.Errors(), problems)
	out := map[string]rules.Listed{}
	for _, l := range book.All() {
		out[l.ID] = l
	}
	return out
}

// TestWorkshopFollowsTheCar: the branches of the workshop's limits that the demo
// car does not take. A tenth of the part's no-fire current, never above 10 mA, and
// the lowest of a tolerance counts (common practice, no source); 5 s of discharge
// unless the shop asks for less; 500 Ω/V, or 100 Ω/V where no AC is connected
// (UN R100 5.1.3), unless the shop asks for more.
func TestWorkshopFollowsTheCar(t *testing.T) {
	b, err := checklists.Files.ReadFile("rules/workshop.yaml")
	require.NoError(t, err)
	file, problems := yamlfile.Parse("rules/workshop.yaml", b)
	require.Empty(t, problems)
	set, problems := rules.Parse(file)
	require.Empty(t, problems)
	for _, c := range []struct {
		id, car string
		dim     quantity.Dim
		want    float64
	}{
		{"pyro_test_current", "pyro: {no_fire: 50 mA}", quantity.Ampere, 0.005},
		{"pyro_test_current", "pyro: {no_fire: 60 mA ±10%}", quantity.Ampere, 0.0054},
		{"pyro_test_current", "pyro: {no_fire: 2 A}", quantity.Ampere, 0.010},
		{"discharge_time", "system: {conductively_connected_ac: false}", quantity.Second, 5},
		{"discharge_time", "workshop: {discharge: {within: 2 s}}", quantity.Second, 2},
		{"emergency_off_time", "workshop: {discharge: {within: 2 s}}", quantity.Second, 2},
		{"isolation_whole", "packs: {main: {cells: {series: 100, max: 4 V}}}", quantity.Ohm, 500 * 400},
		{"isolation_whole", "system: {conductively_connected_ac: false}\npacks: {main: {cells: {series: 100, max: 4 V}}}", quantity.Ohm, 100 * 400},
		{"isolation_whole", "workshop: {isolation: 1 MΩ}\npacks: {main: {cells: {series: 100, max: 4 V}}}", quantity.Ohm, 1e6},
	} {
		file, problems := yamlfile.Parse("vehicle.yaml", []byte("format: 1\nname: X\nassessed_to: [workshop]\n"+c.car+"\n"))
		require.Empty(t, problems)
		car, problems := vehicle.Parse(file)
		require.False(t, problems.Errors(), problems)
		book, problems := rules.NewBook([]*rules.Set{set}, car)
		require.False(t, problems.Errors(), problems)
		bounds, problems := book.Apply(c.id, car.Env(), c.dim, "")
		require.Empty(t, problems, c.car)
		require.Len(t, bounds, 1)
		got := bounds[0].High
		if bounds[0].Kind == quantity.AtLeast {
			got = bounds[0].Low
		}
		assert.InEpsilon(t, c.want, got, 1e-12, c.car)
	}
}
