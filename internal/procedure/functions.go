package procedure

import (
	"slices"

	"hvproof/internal/quantity"
)

// A Function is what a compute step can do. The run package evaluates the
// same names.
type Function struct {
	Name      string
	Method    string // the method that its result counts as, empty for none
	Arguments []Argument
	Result    quantity.Dim
	AnyResult bool // the result has the dimension of the step's unit, as have its Same arguments
}

// An Argument is one argument of a Function.
type Argument struct {
	Name     string
	Kind     ArgumentKind
	Dim      quantity.Dim // of a reading or a value
	Same     bool         // has the dimension of the step's unit instead of Dim
	Alike    bool         // has the dimension of the other Alike argument instead of Dim
	Optional bool
	Words    []string // of a word: what it may be
}

// ArgumentKind says where an argument may come from.
type ArgumentKind int

// The kinds of an Argument.
const (
	ReadingOrValue ArgumentKind = iota // an earlier step, or a formula
	ReadingOnly                        // an earlier step that measures
	ValueOnly                          // a formula over the car's values
	Word                               // a word, or an earlier observe step
)

// Functions gives the functions in the order in which they are documented:
//
//   - value: the formula's own worst-case range, judged at both corners;
//   - difference: a − b;
//   - ratio: a / b, without a dimension;
//   - decay_time: what the time from start down to target would have been from
//     full, by one time constant: time · ln(full/target) / ln(start/target).
//     A discharge is decided at full charge, whatever the day's voltage;
//   - isolation_two_voltage: the isolation resistance of the weaker pole by
//     the two-voltage method (UN R100 rev. 2, component test annex,
//     1.2.3.4 and 1.2.3.5): vb is the voltage from pole to pole, v1 from the
//     negative pole to the chassis, v2 from the positive pole to the chassis,
//     r0 the known resistor, r0_at the pole that it connects to the chassis,
//     v_prime that pole's voltage to the chassis with it. meters is "one" if
//     one meter is moved from pole to pole, "two" if both poles have a meter
//     at once; meter_resistance is what a meter puts across a pole. What the
//     poles had to chassis before is background_plus and background_minus: it
//     tells better where along the string a single leak sits.
func Functions() []Function {
	volt, ohm := quantity.Volt, quantity.Ohm
	return []Function{
		{Name: "value", AnyResult: true, Arguments: []Argument{
			{Name: "value", Kind: ValueOnly, Same: true},
		}},
		{Name: "difference", AnyResult: true, Arguments: []Argument{
			{Name: "a", Kind: ReadingOrValue, Same: true},
			{Name: "b", Kind: ReadingOrValue, Same: true},
		}},
		{Name: "ratio", Result: quantity.One, Arguments: []Argument{
			{Name: "a", Kind: ReadingOrValue, Alike: true},
			{Name: "b", Kind: ReadingOrValue, Alike: true},
		}},
		{Name: "decay_time", Result: quantity.Second, Arguments: []Argument{
			{Name: "time", Kind: ReadingOnly, Dim: quantity.Second},
			{Name: "start", Kind: ReadingOnly, Dim: volt},
			{Name: "full", Kind: ValueOnly, Dim: volt},
			{Name: "target", Kind: ValueOnly, Dim: volt},
		}},
		{Name: "isolation_two_voltage", Method: TwoVoltage, Result: ohm, Arguments: []Argument{
			{Name: "vb", Kind: ReadingOnly, Dim: volt},
			{Name: "v1", Kind: ReadingOnly, Dim: volt},
			{Name: "v2", Kind: ReadingOnly, Dim: volt},
			{Name: "v_prime", Kind: ReadingOnly, Dim: volt},
			{Name: "r0", Kind: ReadingOrValue, Dim: ohm},
			{Name: "r0_at", Kind: Word, Words: []string{"negative", "positive"}},
			{Name: "meter_resistance", Kind: ValueOnly, Dim: ohm, Optional: true},
			{Name: "meters", Kind: Word, Words: []string{"one", "two"}, Optional: true},
			{Name: "background_plus", Kind: ValueOnly, Dim: ohm, Optional: true},
			{Name: "background_minus", Kind: ValueOnly, Dim: ohm, Optional: true},
		}},
	}
}

// The methods of measuring isolation that the checks know.
const (
	TwoVoltage = "two-voltage" // on a part with a source
	JoinedPole = "joined-pole" // poles joined: only on a part without a source
)

func function(name string) (Function, bool) {
	for _, f := range Functions() {
		if f.Name == name {
			return f, true
		}
	}
	return Function{}, false
}

func (f Function) argument(name string) (Argument, bool) {
	i := slices.IndexFunc(f.Arguments, func(a Argument) bool { return a.Name == name })
	if i < 0 {
		return Argument{}, false
	}
	return f.Arguments[i], true
}

func functionNames() []string {
	var names []string
	for _, f := range Functions() {
		names = append(names, f.Name)
	}
	return names
}

func (f Function) argumentNames() []string {
	var names []string
	for _, a := range f.Arguments {
		names = append(names, a.Name)
	}
	return names
}
