package formula

import (
	"sort"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"hvproof/internal/diag"
	"hvproof/internal/quantity"
)

// testEnv is an Env of leaf values: names in order, ranges by name.
type testEnv struct {
	names []string
	vars  map[string]Var
}

func (e *testEnv) set(name string, v Var) {
	v.Name = name
	e.names = append(e.names, name)
	e.vars[name] = v
}

func (e *testEnv) Resolve(name string) (Var, bool) {
	v, ok := e.vars[name]
	return v, ok
}

func (e *testEnv) Names() []string { return e.names }

// Match stands for values, or for items where the pattern ends in "*".
func (e *testEnv) Match(pattern string) []string {
	var found []string
	seen := map[string]bool{}
	for _, n := range e.names {
		words := strings.Split(n, ".")
		if k := strings.Count(pattern, ".") + 1; strings.HasSuffix(pattern, ".*") && len(words) > k {
			words = words[:k]
		}
		item := strings.Join(words, ".")
		if matches(pattern, item) && !seen[item] && e.vars[n].Absent == "" {
			seen[item] = true
			found = append(found, item)
		}
	}
	return found
}

// newEnv reads lines "name: quantity", "name: true" or "name: ?V where".
func newEnv(t testing.TB, text string) *testEnv {
	e := &testEnv{vars: map[string]Var{}}
	for _, line := range strings.Split(strings.TrimSpace(text), "\n") {
		name, value, ok := strings.Cut(strings.TrimSpace(line), ": ")
		require.True(t, ok, line)
		switch {
		case value == "true" || value == "false":
			e.set(name, Var{IsBool: true, Bool: value == "true"})
		case strings.HasPrefix(value, "?"):
			unit, where, _ := strings.Cut(value[1:], " ")
			v, err := quantity.Parse("1 " + unit)
			require.NoError(t, err, line)
			e.set(name, Var{Dim: v.Dim, Absent: where})
		default:
			r, err := quantity.ParseRange(value)
			require.NoError(t, err, line)
			e.set(name, Var{Dim: r.Dim, Range: r})
		}
	}
	return e
}

// Values of the two cars of the design, from their tables.
const sandpiper = `
system.conductively_connected_ac: true
packs.left.cells.series: 96
packs.left.cells.parallel: 2
packs.left.cells.max: 4.20 V
packs.left.cells.nominal: 3.65 V
packs.left.cells.min: 3.00 V
packs.left.cells.resistance: 1.1 mΩ ±20%
packs.left.capacity: 42 Ah
packs.left.peak_current: 420 A
packs.left.path: 2.4 mΩ ±25%
packs.left.y_capacitance: 40 nF ±20%
packs.right.cells.series: 96
packs.right.cells.parallel: 1
packs.right.cells.max: 4.20 V
packs.right.cells.resistance: 1.1 mΩ ±20%
packs.right.capacity: 21 Ah
packs.right.peak_current: 210 A
packs.right.path: 3.9 mΩ ±25%
packs.right.y_capacitance: 40 nF ±20%
drive.demand: 470 A
drive.after_pack_lost: ?A drive.after_pack_lost in vehicle.yaml
parallel.join_difference: 1.0 V
dc_link.capacitance: 1.02 mF ±10%
dc_link.y_capacitance: 220 nF ±20%
dc_link.bleed: 22 kΩ ±5%
discharge.resistance: 1.8 kΩ ±5%
precharge.resistance: 68 Ω ±5%
precharge.continuous_power: 50 W
precharge.coil: 80 Ω ±10%
precharge.target: 95%
contactors.left_plus.coil: 24 Ω ±10%
contactors.left_minus.coil: 24 Ω ±10%
contactors.right_plus.coil: 24 Ω ±10%
contactors.right_minus.coil: 24 Ω ±10%
pyro.bridge: 1.7..2.3 Ω
pyro.harness: 0.30 Ω ±20%
pyro.series: 2.2 Ω ±5%
pyro.driver_drop: 1.0 V
low_voltage.min: 10.5 V
low_voltage.max: 14.6 V
shutdown.cabin_isolator.contact: 40 mΩ
shutdown.cabin_isolator.wire: 75 mΩ
shutdown.driver_button.contact: 50 mΩ
shutdown.driver_button.wire: 55 mΩ
shutdown.outside_left.contact: 50 mΩ
shutdown.outside_left.wire: 110 mΩ
shutdown.outside_left.opens.left_plus: true
shutdown.outside_right.contact: 50 mΩ
shutdown.outside_right.wire: 110 mΩ
shutdown.outside_right.opens.left_plus: false
shutdown.inertia.contact: 60 mΩ
shutdown.inertia.wire: 70 mΩ
shutdown.isolation_relay.contact: 50 mΩ
shutdown.isolation_relay.wire: 45 mΩ
shutdown.battery_relay.contact: 50 mΩ
shutdown.battery_relay.wire: 60 mΩ
shutdown.interlock.contact: 90 mΩ
shutdown.interlock.wire: 120 mΩ
heater.power: ?W heater.power in vehicle.yaml
ambient.hottest: 40 °C
`

const bess = `
packs.main.cells.series: 40
packs.main.cells.parallel: 1
packs.main.cells.max: 3.65 V
packs.main.cells.resistance: 0.6 mΩ ±25%
packs.main.path: 1.5 mΩ ±25%
packs.main.y_capacitance: 100 nF ±20%
dc_link.capacitance: 4.7 mF ±20%
dc_link.bleed: 10 kΩ ±5%
precharge.resistance: 100 Ω ±5%
precharge.continuous_power: 25 W
contactors.plus.coil: 48 Ω ±10%
contactors.minus.coil: 48 Ω ±10%
low_voltage.min: 11.0 V
shutdown.key.contact: 60 mΩ
shutdown.key.wire: 70 mΩ
shutdown.dash_button.contact: 50 mΩ
shutdown.dash_button.wire: 60 mΩ
shutdown.inertia.contact: 60 mΩ
shutdown.inertia.wire: 80 mΩ
workshop.isolation: 1 MΩ
`

// derived are the derived values that the tests of both cars use.
func derived(t testing.TB, env *testEnv, packs ...string) Env {
	at := diag.Place{File: "derived", Line: 1, Column: 1}
	var defs []Definition
	def := func(name, text string, bind map[string]Item) {
		defs = append(defs, Definition{Name: name, Text: text, At: at, Want: Want{Any: true}, Bind: bind})
	}
	for _, p := range packs {
		bind := map[string]Item{"item": {"packs", p}}
		def("packs."+p+".total_resistance", "packs.item.cell_resistance + item.path", bind)
		def("packs."+p+".cell_resistance", "item.cells.series * item.cells.resistance / item.cells.parallel", bind)
		def("packs."+p+".max_voltage", "item.cells.series * item.cells.max", bind)
	}
	def("system.max_voltage", "max(packs.*.max_voltage)", nil)
	def("shutdown_chain.resistance", "sum(shutdown.*.contact) + sum(shutdown.*.wire)", nil)
	def("precharge.tau", "precharge.resistance * dc_link.capacitance", nil)
	def("heater.current", "heater.power / system.max_voltage", nil)
	if _, ok := env.Resolve("heater.power"); !ok {
		defs = defs[:len(defs)-1]
	}
	e, problems := Derive(env, defs)
	require.Empty(t, problems)
	return e
}

func sandpiperEnv(t testing.TB) Env { return derived(t, newEnv(t, sandpiper), "left", "right") }
func bessEnv(t testing.TB) Env      { return derived(t, newEnv(t, bess), "main") }

// compile compiles a formula that must be right.
func compile(t testing.TB, env Env, text string) *Formula {
	f, problems := Compile(text, diag.Place{File: "test.yaml", Line: 1, Column: 1}, text, env, Want{Any: true, Bool: true})
	require.Empty(t, problems, text)
	require.NotNil(t, f)
	return f
}

func eval(t testing.TB, env Env, text string) Result {
	r, err := compile(t, env, text).Eval()
	require.NoError(t, err, text)
	return r
}

func sortedKeys[T any](m map[string]T) []string {
	var keys []string
	for k := range m {
		keys = append(keys, k)
	}
	sort.Strings(keys)
	return keys
}
