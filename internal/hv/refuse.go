package hv

// Codes of contradictory or unusable readings, and of warnings.
const (
	NotANumber       = "not-a-number"
	NegativeReading  = "negative-reading"
	ZeroReading      = "zero-reading"
	NoResistor       = "no-resistor"
	NoMeterData      = "no-meter-data"
	UnknownPole      = "unknown-pole"
	WrongPole        = "resistor-at-wrong-pole"
	RisesWithR0      = "rises-with-resistor"
	SumAboveSource   = "sum-above-source"
	SumDisagrees     = "sum-disagrees"
	SplitUnknown     = "split-unknown"
	NoLeak           = "no-leak"
	NotOnString      = "not-on-the-string"
	ResistorNoEffect = "resistor-without-effect" // warning
	ResistorUnusual  = "resistor-unusual"        // warning
	CoarseResult     = "coarse-result"           // warning
	MeterLow         = "meter-resistance-low"    // warning
)

// A Contradiction refuses readings: they cannot all be true, or nothing can
// be computed from them.
type Contradiction struct {
	Code    string
	Message string // what is wrong, one sentence
	Look    string // what to look for
}

// Error gives both sentences.
func (c *Contradiction) Error() string { return c.Message + "; " + c.Look }

// A Warning is something about a result that somebody should look at.
type Warning struct{ Code, Sentence string }
