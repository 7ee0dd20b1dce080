package checklists_test

import (
	"io/fs"
	"os"
	"path"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/checklists"
	"hvproof/internal/carfolder"
	"hvproof/internal/diag"
	"hvproof/internal/plan"
	"hvproof/internal/procedure"
	"hvproof/internal/rules"
	"hvproof/internal/vehicle"
	"hvproof/internal/yamlfile"
)

// A folder is the embedded files parsed, with one car.
type folder struct {
	car  *vehicle.Vehicle
	book *rules.Book
	lib  *procedure.Library
}

// parse reads an embedded file, which must be without any problem.
func parse(t *testing.T, name string) *yamlfile.File {
	t.Helper()
	bytes, err := checklists.Files.ReadFile(name)
	require.NoError(t, err)
	f, problems := yamlfile.Parse(name, bytes)
	require.Empty(t, problems, name)
	return f
}

// names gives the embedded files that match, of which there must be some.
func names(t *testing.T, pattern string) []string {
	t.Helper()
	found, err := fs.Glob(checklists.Files, pattern)
	require.NoError(t, err)
	require.NotEmpty(t, found, pattern)
	return found
}

// open reads everything with the car of a file.
func open(t *testing.T, car *yamlfile.File) folder {
	t.Helper()
	v, problems := vehicle.Parse(car)
	require.Empty(t, problems)
	return with(t, v)
}

// with reads everything beside a car.
func with(t *testing.T, v *vehicle.Vehicle) folder {
	t.Helper()
	f := folder{car: v}
	var problems diag.List
	var sets []*rules.Set
	for _, name := range names(t, "rules/*.yaml") {
		set, problems := rules.Parse(parse(t, name))
		require.Empty(t, problems)
		assert.Equal(t, strings.TrimSuffix(path.Base(name), ".yaml"), set.ID)
		sets = append(sets, set)
	}
	f.book, problems = rules.NewBook(sets, v)
	require.Empty(t, problems)

	var procedures []*procedure.Procedure
	for _, name := range names(t, "procedures/*.yaml") {
		p, problems := procedure.Parse(parse(t, name))
		require.Empty(t, problems)
		assert.Equal(t, strings.TrimSuffix(path.Base(name), ".yaml"), p.ID)
		procedures = append(procedures, p)
	}
	texts, problems := procedure.ParseTexts(parse(t, "cautions.yaml"))
	require.Empty(t, problems)
	f.lib, problems = procedure.NewLibrary(procedures, texts)
	require.Empty(t, problems)
	return f
}

// plan makes a procedure ready, without any problem.
func (f folder) plan(t *testing.T, id string) *plan.Plan {
	t.Helper()
	p, problems := f.lib.Plan(id, f.car, f.book, nil, true)
	require.Empty(t, problems, id)
	return p
}

// cars are the cars that every procedure must fit.
func cars(t *testing.T) map[string]folder {
	t.Helper()
	out := map[string]folder{
		"sandpiper":       open(t, parse(t, "demo/vehicle_second.yaml")), // as its figures were computed
		"sandpiper third": open(t, parse(t, "demo/vehicle.yaml")),        // one part more whose isolation is measured
		"sandpiper first": open(t, parse(t, "demo/vehicle_first.yaml")),
	}
	bess, err := os.ReadFile("../testdata/cars/old_bess.yaml")
	require.NoError(t, err)
	f, problems := yamlfile.Parse("old_bess.yaml", bess)
	require.Empty(t, problems)
	out["old bess"] = open(t, f)
	return out
}

func TestCheckFindsNothing(t *testing.T) {
	for name, f := range cars(t) {
		assert.Empty(t, f.lib.Check(f.car, f.book), name)
	}
}

func TestAnOrderFromEverythingMissing(t *testing.T) {
	f := open(t, parse(t, "demo/vehicle.yaml"))
	order, problems := f.lib.Order()
	require.Empty(t, problems)
	assert.Equal(t, []string{
		"design_review", "joints", "bonding", "isolation_parts", "shutdown_cold", "contactor_function", "pyro_circuit",
		"low_energy_hv", "shutdown_low_energy",
		"pack_voltages", "isolation_pack", "precharge", "first_closing", "discharge", "isolation_whole", "weld_check",
		"emergency_off", "isolation_monitor",
		"paralleling", "all_packs_again", "charging", "first_spin", "regeneration",
		"sharing",
		"pre_event",
	}, order)
}

// count gives how many applicable steps of a plan have an id.
func count(p *plan.Plan, id string) int {
	n := 0
	for i := range p.Steps {
		s := &p.Steps[i]
		if s.NotApplicable == "" && strings.HasSuffix("."+s.Path, "."+id) {
			n++
		}
	}
	return n
}

// Sandpiper has 8 devices, 4 contactors, 10 joints, 9 bonding points, 2
// packs and 3 isolation parts without a source; Old Bess 3 devices, 2
// contactors, 2 joints, 4 points, 1 pack, 2 such parts.
func TestPlansUnroll(t *testing.T) {
	all := cars(t)
	for _, want := range []struct {
		procedure, step string
		sandpiper, bess int
	}{
		{"shutdown_cold", "opens", 32, 6},
		{"shutdown_cold", "chain", 4, 2},
		{"shutdown_low_energy", "opens", 32, 6},
		{"emergency_off", "opens", 32, 6},
		{"emergency_off", "trip", 8, 3},
		{"charging", "stops", 8, 3},
		{"charging", "opens", 32, 6},
		{"joints", "torque", 10, 2},
		{"bonding", "resistance", 9, 4},
		{"isolation_parts", "isolation", 4, 3}, // one more for all of them together
		{"isolation_pack", "isolation", 2, 1},
		{"pack_voltages", "voltage", 2, 1},
		{"low_energy_hv", "polarity", 3, 2},
		{"low_energy_hv", "weld", 4, 2},
		{"contactor_function", "release_time", 4, 2},
		{"design_review", "coil_voltage", 4, 2},
		{"weld_check", "open", 4, 2},
	} {
		for car, n := range map[string]int{"sandpiper": want.sandpiper, "old bess": want.bess} {
			p := all[car].plan(t, want.procedure)
			require.Empty(t, p.NotApplicable)
			assert.Equal(t, n, count(p, want.step), "%s: %s of %s", car, want.step, want.procedure)
		}
	}
}

func TestAbsentPartsDoNotApply(t *testing.T) {
	f := cars(t)["old bess"]
	var not []string
	for _, id := range f.lib.IDs() {
		if f.plan(t, id).NotApplicable != "" {
			not = append(not, id)
		}
	}
	assert.ElementsMatch(t, []string{"pyro_circuit", "isolation_monitor", "paralleling", "all_packs_again", "sharing"}, not)
}

// The limits of the two cars, to four digits: computed by hand from the
// cars' data and the rule of the workshop (design data of the demo cars).
func TestLimits(t *testing.T) {
	all := cars(t)
	for _, want := range []struct {
		car, procedure, step string
		low, high            float64
	}{
		{"sandpiper", "isolation_parts", "drive.isolation", 1.008e6, 0},
		{"sandpiper", "isolation_parts", "together.isolation", 201.6e3, 0},
		{"sandpiper", "isolation_pack", "left.isolation", 1.008e6, 0},
		{"sandpiper", "isolation_whole", "whole.isolation", 201.6e3, 0},
		{"sandpiper", "bonding", "seat.resistance", 0, 0.1},
		{"sandpiper", "shutdown_cold", "left_plus.chain", 0, 0.8372},
		{"sandpiper", "pyro_circuit", "bridge", 1.940, 2.660},
		{"sandpiper", "precharge", "alone.tau", 59.30e-3, 80.11e-3},
		{"sandpiper", "low_energy_hv", "link.rise", 0.1347, 0.3304}, // half to one and a half, strictest corner,
		{"sandpiper", "emergency_off", "off.outside_left.trip", 0, 5},
		{"sandpiper", "sharing", "load.left.share", 235, 0}, // the last of its limits: half the demand,
		{"sandpiper", "isolation_monitor", "test_resistor", 75.72e3, 85.80e3},
		{"old bess", "isolation_whole", "whole.isolation", 1e6, 0},
		{"old bess", "discharge", "curve.tau", 0, 60}, // the last of its limits: from full charge
		{"old bess", "precharge", "alone.tau", 0.3572, 0.5922},
	} {
		p := all[want.car].plan(t, want.procedure)
		i, ok := p.Step(want.step)
		require.True(t, ok, want.step)
		limits := p.Steps[i].Limits()
		require.NotEmpty(t, limits, want.step)
		low, high := 0.0, 0.0
		for _, b := range limits {
			if b.Governs {
				low, high = b.Low, b.High
			}
		}
		assert.InEpsilon(t, 1+want.low, 1+low, 1e-4, want.step)
		assert.InEpsilon(t, 1+want.high, 1+high, 1e-4, want.step)
	}
}

func TestTemplates(t *testing.T) {
	f := open(t, parse(t, "templates/vehicle.yaml"))
	assert.False(t, f.lib.Check(f.car, f.book).Errors(), "a new folder has warnings only")
	for _, name := range names(t, "templates/*.yaml") {
		parse(t, name)
	}
}

// What stands commented in a template is right once the marks are gone.
func TestTemplateExamples(t *testing.T) {
	example := regexp.MustCompile(`(?m)^# ( *[a-z][a-z0-9_-]*:(?: .*)?)$`)
	for name, replaced := range map[string]string{
		"vehicle.yaml":     "drive: {demand: 400 A}\n", // there are two examples of it
		"instruments.yaml": "instruments: {}\n",
	} {
		bytes, err := checklists.Files.ReadFile("templates/" + name)
		require.NoError(t, err)
		text := example.ReplaceAllString(string(bytes), "$1")
		require.Contains(t, text, replaced)
		text = strings.Replace(text, replaced, "", 1)

		dir := path.Join(t.TempDir(), "car")
		require.NoError(t, carfolder.Init(dir, ""))
		require.NoError(t, os.WriteFile(path.Join(dir, name), []byte(text), 0o600))
		folder, problems := carfolder.Load(dir)
		assert.False(t, problems.Errors(), "%s: %v\n%s", name, problems, text)
		if name == "vehicle.yaml" {
			assert.Empty(t, problems, text)
			assert.Contains(t, folder.Vehicle.Parts(), "isolation_monitor")
		} else {
			assert.Len(t, folder.Instruments, 9)
		}
	}
}
