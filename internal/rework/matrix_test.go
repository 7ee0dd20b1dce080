package rework_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/checklists"
	"hvproof/internal/rework"
	"hvproof/internal/yamlfile"
)

// The matrix that the shipped file must say, row by row: # void, / by path or
// box, . keep. Engineering judgement (common practice, no source). Columns:
// pack voltage and polarity, isolation of part, isolation of whole, bonding,
// shutdown cold, contactor function, pyro circuit, pre-charge, weld check,
// emergency-off, discharge, paralleling, monitor, joints, sharing.
const columns = `pack_voltages isolation_part isolation_whole bonding shutdown_cold contactors pyro precharge weld_check emergency_off discharge paralleling monitor joints sharing`

const matrix = `
contactor_swapped          # # # . # # . / # # . / . # /
precharge_resistor_changed . # # . . . . # . . . . . # .
module_swapped             # # # / / . . . . / . # . # #
pack_removed               # # # # # # / / # # . # . # #
hv_connector_opened        . # # / # . . / . / / / . . /
cable_rerouted             . # # / / . . / . / / / . # /
busbar_joint_undone        / # # . . . . / . . / / . # /
inverter_changed           . # # # / . . # # # # . # # .
dcdc_changed               . # # # . / / # . # # . # # .
inlet_changed              / # # # # / . . / # / . . # .
pyro_replaced              . # # . . . # / . / . / . # /
shutdown_device            . . . . # # / . . # . . / . .
low_voltage_changed        . . . / / # # / . # / . # . .
monitor_changed            . . # / # . . . . # . . # . .
firmware                   . . . . . # / # # # # # / . #
coolant_or_wash            . # # . # . # . . / . . # . .
crash                      # # # # # # # # # # # # # # #
storage                    # . # / # # # # # # # # # / .
`

func shipped(t *testing.T) *rework.Book {
	t.Helper()
	bytes, err := checklists.Files.ReadFile("rework.yaml")
	require.NoError(t, err)
	f, faults := yamlfile.Parse("rework.yaml", bytes)
	require.Empty(t, faults)
	b, faults := rework.Parse(f)
	require.Empty(t, faults)
	return b
}

// One proof for each test of the matrix, about a part of its own, so that
// nothing but the matrix decides.
func alone(b *rework.Book) []rework.Proof {
	var out []rework.Proof
	for _, test := range b.Tests() {
		for _, proof := range b.Proofs(test) {
			out = append(out, rework.Proof{ID: proof, Parts: []string{"elsewhere." + proof}})
		}
	}
	return out
}

// silent is a car whose file says of no part where it is.
type silent struct{ parts []string }

func (c silent) Parts() []string    { return c.parts }
func (c silent) Text(string) string { return "" }

// placed is a car with everything in the box of one pack.
type placed struct{ silent }

func (placed) Text(path string) string {
	if strings.HasSuffix(path, ".pack") || strings.HasSuffix(path, ".part") {
		return "left"
	}
	return ""
}

func TestMatrix(t *testing.T) {
	b := shipped(t)
	rows := strings.Split(strings.TrimSpace(matrix), "\n")
	require.Len(t, rows, 18)
	for _, row := range rows {
		cells := strings.Fields(row)
		require.Len(t, cells, 16)
		work, ok := b.Work(cells[0])
		require.True(t, ok, cells[0])
		parts := []string{"contactors.left_plus"} // a part that a silent file cannot place
		if work.Touches(rework.None) {
			parts = nil
		}
		car := silent{[]string{"packs.left", "contactors.left_plus", rework.Whole}}
		inBox := placed{car}
		for i, test := range strings.Fields(columns) {
			for _, proof := range b.Proofs(test) {
				what := cells[0] + ", " + proof
				by := func(c rework.Car) (rework.Effect, bool) {
					for _, e := range b.Effects(c, cells[0], parts, alone(b)) {
						if e.Proof == proof && !e.Kept {
							return e, true
						}
					}
					return rework.Effect{}, false
				}
				e, void := by(car)
				_, voidInBox := by(inBox)
				switch cells[i+1] {
				case "#":
					assert.True(t, void, "%s is void", what)
					assert.True(t, voidInBox, "%s is void wherever the part is", what)
				case "/":
					assert.True(t, void, "%s is void where the file is silent", what)
					if work.Touches(rework.None) {
						break // nothing can be placed
					}
					assert.False(t, voidInBox, "%s stands where the part is known to be elsewhere", what)
				case ".":
					assert.False(t, void, "%s stands", what)
					assert.False(t, voidInBox, "%s stands", what)
				default:
					t.Fatalf("%s: %q", what, cells[i+1])
				}
				if void {
					assert.NotEmpty(t, e.Reason, what)
				}
			}
		}
	}
}

// Sandpiper's parts, as far as the scopes below need them.
type sandpiper struct{}

func (sandpiper) Parts() []string {
	return []string{"packs.left", "packs.right", "contactors.left_plus", "contactors.left_minus", "contactors.right_plus", "contactors.right_minus",
		"fuses.left", "shutdown.outside_left", "shutdown.interlock", "joints.left_plus", "joints.dc_link_plus", "drive", "dcdc", "inlet", "pyro",
		"dc_link", "precharge", "isolation_monitor", "low_voltage", "bonding.seat", rework.Whole}
}

func (sandpiper) Text(path string) string {
	switch path {
	case "contactors.left_plus.pack", "contactors.left_minus.pack", "joints.left_plus.part":
		return "left"
	case "contactors.right_plus.pack", "contactors.right_minus.pack":
		return "right"
	case "joints.dc_link_plus.part":
		return "dc_link"
	}
	return ""
}

func proofsOfSandpiper() []rework.Proof {
	contactors := []string{"contactors.left_plus", "contactors.left_minus", "contactors.right_plus", "contactors.right_minus"}
	matrix := append([]string{"shutdown.outside_left", "shutdown.interlock"}, contactors...)
	return []rework.Proof{
		{ID: "pack_voltages", Parts: []string{"packs.left", "packs.right"}},
		{ID: "isolation_parts", Parts: []string{"drive", "dcdc", "inlet"}},
		{ID: "isolation_pack", Parts: []string{"packs.left", "packs.right"}},
		{ID: "isolation_whole", Parts: []string{rework.Whole}},
		{ID: "bonding", Parts: []string{"bonding.seat"}},
		{ID: "shutdown_cold", Parts: matrix},
		{ID: "contactor_function", Parts: contactors},
		{ID: "emergency_off", Parts: append(matrix, "dc_link")},
		{ID: "joints", Parts: []string{"joints.left_plus", "joints.dc_link_plus"}},
		{ID: "precharge", Parts: append(contactors, "precharge", "dc_link")},
		{ID: "shop_own", Parts: []string{"inlet"}},
	}
}

func TestScopes(t *testing.T) {
	b := shipped(t)
	for _, c := range []struct {
		work, part string
		want       map[string][]string // proof: parts; nil for all of it
		kept       []string
	}{
		{"contactor_swapped", "contactors.left_plus", map[string][]string{
			"pack_voltages": {"packs.left"}, "isolation_pack": {"packs.left"}, "isolation_whole": {rework.Whole},
			"shutdown_cold": {"contactors.left_plus"}, "contactor_function": {"contactors.left_plus"},
			"emergency_off": {"contactors.left_plus"}, "joints": {"joints.left_plus"}, "precharge": {"contactors.left_plus"},
		}, nil},
		{"module_swapped", "packs.right", map[string][]string{
			"pack_voltages": {"packs.right"}, "isolation_pack": {"packs.right"}, "isolation_whole": {rework.Whole}, "bonding": nil,
			"shutdown_cold": {"shutdown.interlock"}, "emergency_off": {"shutdown.interlock"}, "joints": nil,
		}, nil},
		{"shutdown_device", "shutdown.outside_left", map[string][]string{
			"shutdown_cold": {"shutdown.outside_left"}, "contactor_function": nil, "emergency_off": {"shutdown.outside_left"},
		}, nil},
		{"busbar_joint_undone", "joints.dc_link_plus", map[string][]string{
			"isolation_parts": nil, "isolation_pack": nil, "isolation_whole": {rework.Whole}, "joints": {"joints.dc_link_plus"}, "precharge": {"dc_link"},
		}, nil},
		{"coolant_or_wash", "packs.left", map[string][]string{
			"isolation_pack": {"packs.left"}, "isolation_whole": {rework.Whole}, "shutdown_cold": {"contactors.left_plus", "contactors.left_minus"},
			"emergency_off": {"contactors.left_plus", "contactors.left_minus"},
		}, []string{"pack_voltages"}},
		{"hv_connector_opened", "inlet", map[string][]string{
			"isolation_parts": {"inlet"}, "isolation_whole": {rework.Whole}, "bonding": nil, "shutdown_cold": {"shutdown.interlock"},
			"emergency_off": {"shutdown.interlock"}, "precharge": nil, "shop_own": {"inlet"},
		}, nil},
		{"a work that no file has", "inlet", map[string][]string{
			"isolation_parts": {"inlet"}, "isolation_whole": nil, "shop_own": {"inlet"},
		}, nil},
		{"value_changed", "", map[string][]string{}, nil},
	} {
		t.Run(c.work, func(t *testing.T) {
			var parts []string
			if c.part != "" {
				parts = []string{c.part}
			}
			got, kept := map[string][]string{}, []string(nil)
			for _, e := range b.Effects(sandpiper{}, c.work, parts, proofsOfSandpiper()) {
				if e.Kept {
					kept = append(kept, e.Proof)
					continue
				}
				got[e.Proof] = e.Parts
			}
			assert.Equal(t, c.want, got)
			assert.Equal(t, c.kept, kept)
		})
	}
}

// Unknown counts as touched: a work without parts voids every proof.
func TestUnknownCountsAsTouched(t *testing.T) {
	b := shipped(t)
	for _, work := range []string{"contactor_swapped", "coolant_or_wash", "crash", "nobody knows"} {
		kept := 0
		for _, e := range b.Effects(sandpiper{}, work, nil, proofsOfSandpiper()) {
			if e.Kept {
				kept++
			}
		}
		w, _ := b.Work(work)
		effects := b.Effects(sandpiper{}, work, nil, proofsOfSandpiper())
		assert.Len(t, effects, len(proofsOfSandpiper()), "%s: every proof is spoken of", w.Title)
	}
}

func TestFaultsOfTheFile(t *testing.T) {
	for _, c := range []struct{ text, want string }{
		{"format: 1\ntests: {a: [a]}\nwork:\n  w: {title: t, parts: [any], void: {b: why}}\n", `there is no test "b"`},
		{"format: 1\ntests: {a: [a]}\nwork:\n  w: {title: t, parts: [any], void: {a: why}, keep: {a: why}}\n", "w: a stands twice"},
		{"format: 1\ntests: {a: [a]}\nwork:\n  w: {title: t, parts: [any], void: {a: ''}}\n", "a has no reason"},
		{"format: 1\ntests: {a: [a]}\nwork:\n  W: {title: t, parts: [any]}\n", `"W" is not the name of a work`},
		{"format: 1\ntests: {a: [a]}\nwork:\n  w: {title: t, parts: [any], only: {a: [dc_link]}}\n", "w: only a, which is not void"},
		{"format: 1\ntests: {a: [a]}\nwork:\n  w: {title: t, parts: [any], viod: {a: why}}\n", "viod"},
	} {
		f, faults := yamlfile.Parse("rework.yaml", []byte(c.text))
		require.Empty(t, faults)
		_, faults = rework.Parse(f)
		require.NotEmpty(t, faults, c.text)
		assert.Contains(t, faults[0].Message, c.want)
	}
}
