package deskcheck

import (
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/internal/diag"
	"hvproof/internal/formula"
	"hvproof/internal/hv"
	"hvproof/internal/measure"
	"hvproof/internal/plan"
	"hvproof/internal/quantity"
	"hvproof/internal/vehicle"
	"hvproof/internal/yamlfile"
)

const (
	sandpiper = "../../testdata/cars/sandpiper.yaml"
	oldBess   = "../../testdata/cars/old_bess.yaml"
)

func parse(t *testing.T, text string) *vehicle.Vehicle {
	t.Helper()
	f, problems := yamlfile.Parse("vehicle.yaml", []byte(text))
	require.Empty(t, problems)
	v, problems := vehicle.Parse(f)
	require.False(t, problems.Errors(), problems.String())
	return v
}

func load(t *testing.T, name string, replace ...string) *vehicle.Vehicle {
	t.Helper()
	b, err := os.ReadFile(name)
	require.NoError(t, err)
	text := string(b)
	for i := 0; i+1 < len(replace); i += 2 {
		require.Contains(t, text, replace[i])
		text = strings.ReplaceAll(text, replace[i], replace[i+1])
	}
	return parse(t, text)
}

func value(t *testing.T, car *vehicle.Vehicle, name string) Value {
	t.Helper()
	v, ok := Env(car).Find(name)
	require.True(t, ok, name)
	require.Empty(t, v.Absent, name)
	return v
}

// near compares to four significant digits, one in the last.
func near(t *testing.T, printed, got float64, what string) {
	t.Helper()
	digit := math.Pow(10, math.Floor(math.Log10(math.Abs(printed)))-3)
	assert.InDelta(t, printed, got, digit, what)
}

// The demo's desk pass, from the project's table of computed values: with one
// pack lost the other must carry 470 A (1.119 and 2.238 times its peak
// current); the drive must be limited to the smaller peak, 210 A.
func TestOnePackLost(t *testing.T) {
	car := load(t, sandpiper)
	for pack, times := range map[string]float64{"left": 1.119, "right": 2.238} {
		v := value(t, car, "packs."+pack+".current_after_loss")
		assert.Equal(t, 470.0, v.Hi)
		peak, _, _ := car.Value("packs." + pack + ".peak_current")
		near(t, times, v.Hi/peak.Nominal, pack)
	}
	limit := value(t, car, "parallel.limit_after_loss")
	assert.InDelta(t, 210, limit.Lo, 1e-9)
	assert.Contains(t, limit.Note, "pack left lost")
	cured := value(t, load(t, sandpiper, "demand: 470 A", "demand: 470 A, after_pack_lost: 200 A"), "packs.right.current_after_loss")
	assert.Equal(t, 200.0, cured.Hi)
}

// threePacks is the example of common practice (no source): three equal packs
// of 800 A give 2400 A, ample for a drive of 1800 A, but with one lost 1600 A
// is not enough.
const threePacks = `format: 1
name: Three
packs:
  a: {cells: {series: 100, parallel: 2, max: 4 V, nominal: 3.6 V, min: 3 V, resistance: 1 mΩ}, path: 2 mΩ, peak_current: 800 A, capacity: 50 Ah}
  b: {cells: {series: 100, parallel: 2, max: 4 V, nominal: 3.6 V, min: 3 V, resistance: 1 mΩ}, path: 2 mΩ, peak_current: 800 A, capacity: 50 Ah}
  c: {cells: {series: 100, parallel: 2, max: 4 V, nominal: 3.6 V, min: 3 V, resistance: 1 mΩ}, path: 2 mΩ, peak_current: 800 A, capacity: 50 Ah}
fuses: {a: {rating: 400 A}, b: {rating: 400 A}, c: {rating: 300 A}}
drive: {demand: 1800 A, continuous: 900 A}
parallel: {join_difference: 1 V}
`

// rounded takes the last bits off.
func rounded(m map[string]float64) map[string]float64 {
	for k, x := range m {
		m[k] = math.Round(x*1e9) / 1e9
	}
	return m
}

func TestThreePacks(t *testing.T) {
	car := parse(t, threePacks)
	assert.InDelta(t, 2400, value(t, car, "parallel.limit").Lo, 1e-9)
	lost := value(t, car, "parallel.limit_after_loss")
	assert.Equal(t, map[string]float64{"packs.left.total_resistance": 0.06636, "packs.right.total_resistance": 0.087405},
		rounded(value(t, load(t, sandpiper), "parallel.limit").LowAt), "right reaches its limit first: it lowest, left highest")
	assert.InDelta(t, 1600, lost.Lo, 1e-9)
	assert.InDelta(t, 900, value(t, car, "packs.a.current_after_loss").Hi, 1e-9)
	weakest := value(t, car, "parallel.continuous_limit")
	assert.InDelta(t, 900, weakest.Lo, 1e-9)
	assert.Equal(t, "first reached: fuse c", weakest.Note)
}

// Values of the project's table for the demo car, and by plain arithmetic.
func TestFigures(t *testing.T) {
	car := load(t, sandpiper)
	// Reachable fraction 0.9966 with nothing else left on.
	near(t, 0.9966, value(t, car, "precharge.stall").Lo, "stall")
	// The same by steps through time as by the formula, 240.0 ms at worst, but
	// for the bleed resistor that the formula leaves out.
	time, err := car.DerivedValue("precharge.time")
	require.NoError(t, err)
	near(t, 0.2400, time.Hi, "95 %")
	assert.InEpsilon(t, time.Hi, value(t, load(t, sandpiper, ", bleed: 22 kΩ ±5%", ""), "precharge.time_with_load").Hi, 1e-9)
	assert.Greater(t, value(t, car, "precharge.time_with_load").Hi, time.Hi)
	// 60 ms of release, 20 ms of delay with the bleed, then both.
	v := 403.2 * math.Exp(-0.020/(23.1e3*1.122e-3))
	near(t, 0.060+0.020+1890*23.1e3/(1890+23.1e3)*1.122e-3*math.Log(v/60), value(t, car, "discharge.time_from_button").Hi, "from the button")
	assert.Equal(t, 82e3, math.Round(value(t, car, "isolation_monitor.e24").Lo), "85.8 kΩ wanted, 82 kΩ to be had")
	// 91.20 J at worst and 50 W: a try every 1.824 s, 32 whole ones a minute.
	assert.Equal(t, 32.0, value(t, car, "precharge.attempts_allowed").Lo)
	near(t, 0.060, value(t, car, "contactors.left_plus.suppressed_release_time").Hi, "12 ms times 5")
	// 500 V behind 500 kΩ into two times 360 nF.
	near(t, 500e3*1e9/(500e3+1e9)*720e-9*math.Log((500e3+1e9)/(500e3*0.01)), value(t, car, "isolation.settling").Hi, "settling")
	// Old Bess' DC-DC converter left on, 25 W: at its lowest 100 V and worst
	// tolerance there is no steady point above 60 V.
	bess := load(t, oldBess, "load_power: 0 W", "load_power: 25 W, load_from: 60 V")
	assert.Less(t, value(t, bess, "precharge.stall").Lo, 0.65)
	near(t, (128+math.Sqrt(128*128-4*100*25))/2/128*1, value(t, load(t, oldBess, "load_power: 0 W", "load_power: 25 W, load_from: 60 V", ", bleed: 10 kΩ ±5%", ""), "precharge.stall").Nominal, "stall at nominal voltage")
}

// What a value lacks is said by name, with the place where it would stand;
// nothing is assumed.
func TestAbsentValues(t *testing.T) {
	for name, c := range map[string]struct {
		car  *vehicle.Vehicle
		says string
	}{
		"parallel.limit":                {load(t, oldBess), fewPacks},
		"parallel.limit_after_loss":     {load(t, oldBess), fewPacks},
		"parallel.continuous_limit":     {load(t, sandpiper, "continuous_current: 300 A, ", ""), "contactors.left_plus.continuous_current is missing: write"},
		"packs.left.equalising_time":    {load(t, sandpiper, "parallel: {join_difference: 1.0 V}\n", ""), "parallel.join_difference is missing: write"},
		"precharge.stall":               {load(t, sandpiper, ", load_power: 0 W", ""), "precharge.load_power is missing: write precharge.load_power"},
		"discharge.time_from_button":    {load(t, oldBess), "contactors.plus.release_time is missing: write"},
		"isolation.settling":            {load(t, sandpiper, ", meter_current: 1 mA", ""), "isolation.meter_current is missing: write"},
		"isolation_monitor.e24":         {load(t, oldBess), "isolation_monitor"},
		"packs.left.current_after_loss": {load(t, sandpiper, "drive: {demand: 470 A, continuous: 250 A}", "drive: {continuous: 250 A}"), "drive.demand is missing"},
	} {
		v, ok := Env(c.car).Find(name)
		require.True(t, ok, name)
		assert.Contains(t, v.Absent, c.says, name)
		r, ok := Env(c.car).Resolve(name)
		assert.True(t, ok)
		assert.Equal(t, v.Absent, r.Absent)
	}
}

// coil is a contactor with a diode, one with a clamp; both have tolerances.
const coil = `format: 1
name: Coil
low_voltage: {min: 10 V, max: 14..15 V}
contactors:
  diode: {coil: 24 Ω ±10%, inductance: 0.2 H ±20%, clamp: 0.6..1 V, drop_out: 1.2 V ±30%, release_time: 10..12 ms}
  clamp: {coil: 24 Ω ±10%, inductance: 0.2 H ±20%, clamp: 24 V ±5%, drop_out: 1.2 V ±30%, release_time: 10..12 ms}
shutdown: {button: {contact: 50 mΩ, wire: 20 mΩ}}
`

// The release of a coil: L/R·ln((V + V_c)/(V_d + V_c)) written out. Relay makers
// print 2 to 5 times the release time for a diode (catalogue, read), and that a
// clamp of the supply's voltage avoids most of it.
func TestCoilRelease(t *testing.T) {
	car := load(t, sandpiper, "release_factor: 5", "inductance: 0.2 H, clamp: 0.7 V")
	near(t, 0.2/21.6*math.Log(15.3/1.9), value(t, car, "contactors.left_plus.coil_decay_time").Hi, "decay")
	near(t, 0.012+0.2/21.6*math.Log(15.3/1.9), value(t, car, "contactors.left_plus.suppressed_release_time").Hi, "release")
	clamped := value(t, load(t, sandpiper, "release_factor: 5", "inductance: 0.2 H, clamp: 24 V"), "contactors.left_plus.coil_decay_time")
	near(t, 0.2/21.6*math.Log(38.6/25.2), clamped.Hi, "clamp")
	// The budget from the button rests on it.
	assert.Greater(t, value(t, car, "discharge.time_from_button").Hi, value(t, load(t, sandpiper, "release_factor: 5", "inductance: 0.2 H, clamp: 24 V"), "discharge.time_from_button").Hi)
}

// Every value against draws from all its inputs at once: none outside its
// ends. This is what "worst case" claims.
func TestNoDrawOutside(t *testing.T) {
	cars := map[string]*vehicle.Vehicle{
		"sandpiper": load(t, sandpiper, "load_power: 0 W", "load_power: 5..10 W, load_from: 60 V, load_resistance: 30 kΩ ±10%"),
		"three":     parse(t, strings.NewReplacer("resistance: 1 mΩ", "resistance: 1 mΩ ±30%", "path: 2 mΩ", "path: 2 mΩ ±25%", "demand: 1800 A", "demand: 1700..1800 A").Replace(threePacks)),
		"old bess":  load(t, oldBess),
		"coil":      parse(t, coil),
		"cold":      load(t, sandpiper, "fault_resistance:", "cold_resistance: 2.2 mΩ ±20%, fault_resistance:"),
	}
	const draws = 1500
	drawn := 0
	for carName, car := range cars {
		for _, name := range Env(car).names {
			v, _ := Env(car).Find(name)
			if v.Absent != "" {
				continue
			}
			t.Run(carName+" "+name, func(t *testing.T) {
				random := rand.New(rand.NewPCG(7, 11))
				least, most := math.Inf(1), math.Inf(-1)
				for range draws {
					x := physics(t, car, name, random)
					least, most = math.Min(least, x), math.Max(most, x)
				}
				drawn++
				slack := 1e-9 * math.Max(math.Abs(v.Hi), math.Abs(v.Lo))
				assert.GreaterOrEqual(t, least, v.Lo-slack)
				assert.LessOrEqual(t, most, v.Hi+slack)
				assert.LessOrEqual(t, v.Lo, v.Nominal)
				assert.LessOrEqual(t, v.Nominal, v.Hi)
			})
		}
	}
	assert.GreaterOrEqual(t, drawn, 25)
}

// physics computes one value from single numbers drawn within the car's
// tolerances: the car's file with every range replaced, so that no corner is
// chosen by anybody.
func physics(t *testing.T, car *vehicle.Vehicle, name string, random *rand.Rand) float64 {
	t.Helper()
	d := &drawn{car: car, random: random, at: map[string]float64{}}
	x, err := d.value(name)
	require.NoError(t, err, name)
	return x
}

// A drawn car has one number for each name, the same whenever it is asked for.
type drawn struct {
	car    *vehicle.Vehicle
	random *rand.Rand
	at     map[string]float64
}

func (d *drawn) number(name string) float64 {
	if x, ok := d.at[name]; ok {
		return x
	}
	r, err := number(d.car, name)
	if err != nil {
		return 0
	}
	x := r.Lo + (r.Hi-r.Lo)*d.random.Float64()
	switch d.random.IntN(4) { // the ends matter most
	case 0:
		x = r.Lo
	case 1:
		x = r.Hi
	}
	d.at[name] = x
	return x
}

func (d *drawn) volts() float64 {
	from := d.car.PrechargeFrom()
	low, high := d.number("packs."+from+".min_voltage"), d.number("packs."+from+".max_voltage")
	return low + (high-low)*d.random.Float64()
}

func (d *drawn) precharge() hv.Precharge {
	p := hv.Precharge{Volts: d.volts(), Ohms: d.number("precharge.resistance"), Farads: d.number("dc_link.capacitance"),
		Watts: d.number("precharge.load_power"), From: d.number("precharge.load_from")}
	g := 0.0
	for _, name := range []string{"dc_link.bleed", "precharge.load_resistance"} {
		if r := d.number(name); r > 0 {
			g += 1 / r
		}
	}
	if g > 0 {
		p.Load = 1 / g
	}
	return p
}

// currents shares a total among the packs but one.
func (d *drawn) currents(total float64, lost int) []float64 {
	var sources []hv.Source
	for k, name := range packNames(d.car) {
		if k != lost {
			sources = append(sources, hv.Source{Volts: 400, Ohms: d.number("packs." + name + ".total_resistance")})
		}
	}
	out, _ := hv.Share(sources, total)
	if lost >= 0 {
		out = slices.Insert(out, lost, 0)
	}
	return out
}

// coldShares are the parts of the packs by Ohm's law, cells cold.
func (d *drawn) coldShares() (out []float64) {
	g := 0.0
	for _, p := range packNames(d.car) {
		g += 1 / d.number("packs."+p+".cold_resistance")
	}
	for _, p := range packNames(d.car) {
		out = append(out, 1/d.number("packs."+p+".cold_resistance")/g)
	}
	return out
}

// limit is the total at which a part's current reaches what it may.
func (d *drawn) limit(lost int, of map[string]string) float64 {
	least := math.Inf(1)
	share := d.currents(1, lost)
	for path, pack := range of {
		k := slices.Index(packNames(d.car), pack)
		if k != lost {
			least = math.Min(least, d.number(path)/share[k])
		}
	}
	return least
}

func (d *drawn) peaks() map[string]string {
	out := map[string]string{}
	for _, name := range packNames(d.car) {
		out["packs."+name+".peak_current"] = name
	}
	return out
}

func (d *drawn) value(name string) (float64, error) {
	_, rest, _ := strings.Cut(name, ".")
	item, field, _ := strings.Cut(rest, ".")
	switch {
	case name == "parallel.limit":
		return d.limit(-1, d.peaks()), nil
	case name == "parallel.cold_limit":
		share := d.coldShares()
		least := math.Inf(1)
		for k, p := range packNames(d.car) {
			least = math.Min(least, d.number("packs."+p+".peak_current")/share[k])
		}
		return least, nil
	case name == "parallel.limit_after_loss":
		least := math.Inf(1)
		for k := range packNames(d.car) {
			least = math.Min(least, d.limit(k, d.peaks()))
		}
		return least, nil
	case name == "parallel.continuous_limit":
		of := map[string]string{}
		for collection, f := range map[string]string{"fuses": "rating", "contactors": "continuous_current", "cables": "current"} {
			items, _, _ := d.car.Collection(collection)
			for _, i := range items {
				if pack, ok := d.car.PackOf(collection, i); ok {
					of[collection+"."+i+"."+f] = pack
				}
			}
		}
		return d.limit(-1, of), nil
	case field == "current_after_loss":
		demand := "drive.after_pack_lost"
		if _, _, ok := d.car.Value(demand); !ok {
			demand = "drive.demand"
		}
		i, lost := slices.Index(packNames(d.car), item), d.random.IntN(len(packNames(d.car)))
		if lost == i {
			lost = (i + 1) % len(packNames(d.car))
		}
		return d.currents(d.number(demand), lost)[i], nil
	case field == "equalising_time":
		var stores []hv.Store
		for _, p := range packNames(d.car) {
			s := hv.Store{Source: hv.Source{Ohms: d.number("packs." + p + ".total_resistance")}, Farads: d.number("packs." + p + ".charge_per_volt")}
			if p == item {
				s.Volts = d.number("parallel.join_difference")
			}
			stores = append(stores, s)
		}
		_, seconds := hv.Equalise(stores, 0.1)
		return seconds, nil
	case name == "precharge.stall":
		p := d.precharge()
		v, _ := p.Stall()
		return v / p.Volts, nil
	case name == "precharge.load_allowed":
		return d.precharge().LoadAllowed(d.number("precharge.target")), nil
	case name == "precharge.time_with_load":
		p := d.precharge()
		return p.TimeTo(d.number("precharge.target") * p.Volts), nil
	case name == "discharge.time_from_button":
		slowest := 0.0
		contactors, _, _ := d.car.Collection("contactors")
		for _, c := range contactors {
			release, err := d.value("contactors." + c + ".suppressed_release_time")
			if err != nil {
				return 0, err
			}
			slowest = math.Max(slowest, release)
		}
		bleed, active := d.number("dc_link.bleed"), d.number("discharge.resistance")
		return slowest + hv.DischargeTime(d.number("system.max_voltage"), d.number("dc_link.capacitance"), d.number("discharge.target_voltage"),
			hv.Stage{Ohms: bleed, Seconds: d.number("discharge.delay")}, hv.Stage{Ohms: 1 / (1/bleed + 1/active)}), nil
	case name == "isolation.settling":
		return hv.Tester{Volts: d.number("isolation.meter_voltage"), Amps: d.number("isolation.meter_current")}.
			Settling(shownOhms, 2*d.number("system.y_capacitance"), shownPart), nil
	case name == "isolation_monitor.e24":
		return hv.E24Below(faultPerVolt*d.number("system.max_voltage") - d.number("isolation_monitor.test_point"))
	case name == "precharge.attempts_allowed":
		return math.Floor(60 * d.number("precharge.continuous_power") / d.number("precharge.energy")), nil
	case field == "coil_decay_time":
		path := "contactors." + item
		v, c := d.number("low_voltage.max"), d.number(path+".clamp")
		return d.number(path+".inductance") / d.number(path+".coil") * math.Log((v+c)/(d.number(path+".drop_out")+c)), nil
	case field == "suppressed_release_time":
		path := "contactors." + item
		if _, _, ok := d.car.Value(path + ".release_factor"); ok {
			return d.number(path+".release_time") * d.number(path+".release_factor"), nil
		}
		decay, err := d.value(path + ".coil_decay_time")
		return d.number(path+".release_time") + decay, err
	}
	return 0, assert.AnError
}

// A plan's desk checks, decided; the limit is the shop's, and may be anything.
func TestReview(t *testing.T) {
	arg := plan.Arg{Name: "value", Lo: 8.6349, Nominal: 8.79, Hi: 8.93, Dim: quantity.Volt, Formula: "system.coil_voltage_min", Inputs: []plan.Input{{Name: "low_voltage.min", Lo: 10.5, Hi: 10.5, Dim: quantity.Volt}}}
	at := func(kind quantity.BoundKind, low, high float64, governs bool) plan.Bound {
		return plan.Bound{ID: "coil_voltage", Rules: "workshop", Formula: "contactor.pull_in", Governs: governs,
			Bound: quantity.Bound{Kind: kind, Low: low, High: high, Dim: quantity.Volt}, Inputs: []plan.Input{{Name: "contactors.left_plus.pull_in"}}}
	}
	step := func(b ...plan.Bound) plan.Step {
		return plan.Step{Path: "left_plus.coil_voltage", Kind: plan.Compute, Function: "value", Text: "Voltage at the coil.", Purpose: "It chatters.",
			Dim: quantity.Volt, From: []plan.Arg{arg}, Bounds: b, Parts: []string{"contactors.left_plus"}}
	}
	missing := step()
	missing.NotApplicable, missing.Path = "pyro.series is missing: write pyro.series in vehicle.yaml", "pyro.current"
	again := missing
	again.Path = "pyro.again"
	absent := step()
	absent.NotApplicable = "has(pyro) = false"
	reading := step(at(quantity.AtLeast, 100, 0, true))
	reading.From = []plan.Arg{{Name: "a", Step: "x"}}
	for name, c := range map[string]struct {
		bound   plan.Bound
		refused bool
	}{
		"below":             {at(quantity.AtLeast, 9, 0, true), true},
		"the high end only": {at(quantity.AtLeast, 8.8, 0, true), true},
		"kept":              {at(quantity.AtLeast, 8.6, 0, true), false},
		"another governs":   {at(quantity.AtLeast, 9, 0, false), false},
		"a looser shop":     {at(quantity.AtLeast, 8, 0, true), false},
		"above":             {at(quantity.AtMost, 0, 8.9, true), true},
		"between":           {at(quantity.Between, 8.7, 9, true), true},
		"window":            {at(quantity.Expected, 9, 10, true), false},
	} {
		checks := Review(&plan.Plan{Steps: []plan.Step{step(c.bound), missing, again, absent, reading}})
		require.Len(t, checks, 3, name)
		assert.Equal(t, c.refused, len(checks[0].Refused) == 1, name)
		problems := Problems(checks, load(t, sandpiper))
		if c.refused {
			assert.Equal(t, diag.Refusal, problems[0].Severity)
			assert.NotZero(t, problems[0].Line)
			assert.Contains(t, problems[0].Hint, "limit coil_voltage of workshop: contactor.pull_in (vehicle.yaml:")
			assert.Contains(t, problems[0].Hint, "It chatters.")
		}
		last := problems[len(problems)-1]
		assert.Equal(t, "not checked at the desk: pyro.current, pyro.again: pyro.series is missing: write pyro.series in vehicle.yaml", last.Message)
		assert.Equal(t, diag.Warning, last.Severity)
		assert.False(t, problems.Errors(), "a refusal is no fault of a file")
	}
	below := Review(&plan.Plan{Steps: []plan.Step{step(at(quantity.AtLeast, 9, 0, true))}})[0]
	assert.Equal(t, "voltage at the coil: 8.635 V, at least 9 V is asked for (left_plus.coil_voltage)", below.Sentence(below.Refused[0]))
}

func TestExplain(t *testing.T) {
	car := load(t, sandpiper)
	env := Env(car)
	f, problems := formula.Compile("parallel.limit_after_loss", diag.Place{}, "", env, formula.Want{Dim: quantity.Ampere})
	require.Empty(t, problems)
	r, err := f.Eval()
	require.NoError(t, err)
	inputs := env.Underlying([]plan.Input{{Name: "parallel.limit_after_loss", Lo: r.Lo, Hi: r.Hi, Dim: r.Dim}})
	var names []string
	for _, in := range inputs {
		names = append(names, in.Name)
	}
	assert.Contains(t, names, "packs.left.cells.resistance", "down to the car's own numbers")
	s := plan.Step{Path: "x", Kind: plan.Compute, Text: "Total.", Purpose: "Overload.", Parts: []string{"packs.left"}, Bounds: []plan.Bound{{
		ID: "total", Rules: "workshop", Governs: true, Formula: "drive.demand", Source: "the drive's maker",
		Bound: quantity.Bound{Kind: quantity.AtLeast, Low: 470, Dim: quantity.Ampere}}}}
	arg := plan.Arg{Formula: "parallel.limit_after_loss", Substituted: "(210 A)", Lo: r.Lo, Nominal: r.Nominal, Hi: r.Hi, Dim: r.Dim, Inputs: inputs}
	text := ""
	for _, l := range NewPage(car).Check(Check{Step: &s, Value: &arg, Refused: s.Bounds}) {
		text += l.Word + "|" + l.Text + "\n"
	}
	for _, want := range []string{"check|Total.", "the smallest of peak_current / share", "first reached: pack right, pack left lost",
		"vehicle.yaml:", "decision|REFUSED: 210 A, at least 470 A is asked for", "source|the drive's maker", "if exceeded|Overload."} {
		assert.Contains(t, text, want)
	}
	assert.Equal(t, "at this limit 2 mA flow through a person between a pole and chassis at 403.2 V",
		NewPage(car).Leakage(plan.Bound{Bound: quantity.Bound{Kind: quantity.AtLeast, Low: 201600, Dim: quantity.Ohm}}))
	assert.Equal(t, "dc_link.capacitance 918 µF, precharge.resistance 64.6 Ω",
		NewPage(car).Corner(plan.Bound{Formula: "precharge.tau", Bound: quantity.Bound{Kind: quantity.AtMost}}, ""))
}

// Gloves: EN 60903 class 00 up to 750 V DC, class 0 up to 1500 V (class table,
// read); 6 months by 29 CFR 1910.137, 12 by FSAE 2026 IN.5.1 (read).
func TestProtection(t *testing.T) {
	day := func(text string) time.Time {
		d, err := time.Parse(time.DateOnly, text)
		require.NoError(t, err)
		return d
	}
	car := load(t, sandpiper)
	assert.Empty(t, Protection(car, nil, day("2027-03-20")))
	late := Protection(car, nil, day("2027-07-02"))
	require.Len(t, late, 1)
	assert.Contains(t, late[0].Message, "holds until 2027-06-01")
	assert.Contains(t, late[0].Hint, "a competent person")
	assert.Empty(t, Protection(load(t, sandpiper, "glove_months: 6", "glove_months: 12"), nil, day("2027-07-02")))
	assert.Empty(t, Protection(load(t, sandpiper, `"0"`, `"00"`), nil, day("2027-03-20")))
	high := load(t, sandpiper, `"0"`, `"00"`, "series: 96", "series: 200", "voltage: 500 V", "voltage: 1000 V")
	low := Protection(high, nil, day("2027-03-20"))
	require.Len(t, low, 1)
	assert.Equal(t, diag.Refusal, low[0].Severity)
	assert.Contains(t, low[0].Message, "at most 750 V DC, not for 840 V")
	none := Protection(load(t, oldBess), nil, day("2027-03-20"))
	require.Len(t, none, 1)
	assert.Contains(t, none[0].Message, "protection.glove_class is missing")
	meter := measure.Instrument{ID: "lowohm-1", CalibratedUntil: "2026-12-31", Functions: []measure.Function{{Name: "r", Dim: quantity.Ohm}}}
	lapsed := Protection(car, []measure.Instrument{meter}, day("2027-03-20"))
	require.Len(t, lapsed, 1)
	assert.Contains(t, lapsed[0].Message, "lowohm-1")
}
