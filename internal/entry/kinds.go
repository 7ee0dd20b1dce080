package entry

// The kinds of entries. All are reserved from the first version on, so that
// no later part of the program has to call an old entry unknown.
const (
	Start          Kind = "start"          // entry 0: what the log is about, and whom trust starts with
	Join           Kind = "join"           // a releaser introduces a person's key and roles
	Accept         Kind = "accept"         // that person confirms, with the new key
	Retire         Kind = "retire"         // a key ends
	HandOver       Kind = "hand-over"      // a releaser lets this device go on from another log
	Loss           Kind = "loss"           // a releaser admits that entries were lost
	Baseline       Kind = "baseline"       // names the commissioning runs
	RunStart       Kind = "run-start"      // a run begins: the frozen plan, people, instruments
	State          Kind = "state"          // the car's state as confirmed
	Caution        Kind = "caution"        // cautions acknowledged, protective equipment confirmed
	Ambient        Kind = "ambient"        // temperature and humidity
	Reading        Kind = "reading"        // one value as read off an instrument
	Statement      Kind = "statement"      // the answer to a confirm or observe step
	Computed       Kind = "computed"       // a value calculated from several readings
	Wait           Kind = "wait"           // a time that passed
	Hold           Kind = "hold"           // a hold point is reached
	Witness        Kind = "witness"        // a second person saw what an entry says
	Release        Kind = "release"        // a releaser lets a hold point go on
	MakeSafe       Kind = "make-safe"      // the run was stopped and the car made safe
	Left           Kind = "left"           // the person left the run, to be resumed
	Resume         Kind = "resume"         // the run goes on
	Again          Kind = "again"          // another attempt at a step, and why
	StepEnd        Kind = "step-end"       // no further attempt at a step
	RunEnd         Kind = "run-end"        // the run's outcome
	SignOut        Kind = "sign-out"       // the car as it was left
	Note           Kind = "note"           // a remark by a person
	Capture        Kind = "capture"        // a waveform
	Instrument     Kind = "instrument"     // an instrument's data
	Rework         Kind = "rework"         // work on the HV system
	ItemOpen       Kind = "item-open"      // something provisional
	ItemClose      Kind = "item-close"     // the same, finished
	Nonconformance Kind = "nonconformance" // a requirement not met
	Disposition    Kind = "disposition"    // what was decided about it
	Sanction       Kind = "sanction"       // sanction for test
	Permit         Kind = "permit"         // permit to energise
	PermitEnd      Kind = "permit-end"     // a sanction or permit ends
	MeterFault     Kind = "meter-fault"    // an instrument was found wrong
	Countersign    Kind = "countersign"    // another person stands behind an entry
)

var kindOrder = [...]Kind{Start, Join, Accept, Retire, HandOver, Loss, Baseline, RunStart, State, Caution,
	Ambient, Reading, Statement, Computed, Wait, Hold, Witness, Release, MakeSafe, Left, Resume, Again, StepEnd, RunEnd,
	SignOut, Note, Capture, Instrument, Rework, ItemOpen, ItemClose, Nonconformance, Disposition, Sanction,
	Permit, PermitEnd, MeterFault, Countersign}

// Confirms reports whether entries of the kind name another entry by index and
// leaf hash (fields `entry` and `leaf`, required).
func Confirms(k Kind) bool {
	specs := kinds[k]
	return len(specs) >= 2 && specs[0].Name == "entry" && specs[0].Need == Required && specs[1].Name == "leaf"
}

func need(t Type, name string) FieldSpec       { return FieldSpec{Name: name, Type: t} }
func maybe(t Type, name string) FieldSpec      { return FieldSpec{Name: name, Type: t, Need: Optional} }
func family(t Type, name string) FieldSpec     { return FieldSpec{Name: name, Type: t, Need: Numbered} }
func oneOf(name string, w ...string) FieldSpec { return FieldSpec{Name: name, Type: Word, Words: w} }

// kinds is the schema: per kind the fields in the order in which they are
// written. Signed bytes never change: a field may be added as Optional or
// Numbered, none may be removed, renamed, moved or made Required.
var kinds = map[Kind][]FieldSpec{
	Start: {
		need(Text, "car"), need(Text, "name"), need(Yes, "practice"),
		need(Text, "predecessor"), // an origin, "none" or "unproven"
		maybe(Count, "predecessor-size"), maybe(Hash, "predecessor-root"),
		need(Person, "person"), need(Roles, "roles"), need(Key, "key"), need(Key, "log-key"),
	},
	Join:   {need(Person, "person"), need(Roles, "roles"), need(Key, "key"), maybe(Text, "reason")},
	Accept: {need(Count, "entry"), need(Hash, "leaf")},
	Retire: {need(Person, "person"), need(Key, "key"), need(Text, "reason")},
	HandOver: {
		need(Text, "from"), need(Count, "log-size"), need(Hash, "log-root"), need(Text, "device"), maybe(Text, "reason"),
	},
	Loss:     {need(Count, "log-size"), need(Hash, "log-root"), need(Text, "reason")},
	Baseline: {family(Text, "run"), maybe(Text, "reason")},
	RunStart: {
		need(Text, "procedure"), need(Blob, "plan"), maybe(Blob, "meters"),
		need(Yes, "practice"), need(Yes, "rehearsal"), need(Date, "date"), // local date at the start
		need(Person, "operator"), maybe(Person, "witness"), maybe(Person, "releaser"),
		family(Text, "person"),     // ID and what they do: scribe, safety watch
		family(Text, "instrument"), // ROLE ID
		maybe(Text, "abandons"),    // the run that this one replaces
		maybe(Text, "reason"),
		family(Blob, "file"), // the files that the plan was made from, as they were
		// Who tests, for whom and where, as vehicle.yaml had it.
		maybe(Text, "workshop"), maybe(Text, "customer"), maybe(Text, "place"),
	},
	State:   {family(Text, "state"), maybe(Text, "text")}, // NAME VALUE
	Caution: {family(Text, "caution"), family(Text, "protective"), maybe(Text, "text")},
	Ambient: {
		maybe(Number, "temperature"), // K
		maybe(Number, "humidity"),    // 0 to 1
		{Name: "surface", Type: Word, Need: Optional, Words: []string{"wet", "dry"}},
		maybe(Text, "instrument"), maybe(Text, "text"),
	},
	Reading: {
		need(Count, "attempt"), need(Text, "text"),
		maybe(Number, "value"), maybe(Text, "unit"), // SI; absent where there is no number (OL)
		{Name: "bound", Type: Word, Need: Optional, Words: []string{"above", "below"}},
		maybe(Number, "u"), maybe(Number, "digit"), // SI, expanded uncertainty and the last digit
		maybe(Text, "instrument"), maybe(Text, "function"), maybe(Text, "range"),
		maybe(Text, "decision"), maybe(Text, "rule"),
		family(Text, "result"), family(Text, "finding"),
		maybe(Text, "reason"), maybe(Text, "confirmed"), maybe(Time, "read-at"), maybe(Count, "corrects"),
		maybe(Number, "division"), // SI, of the screen that a time was read off
	},
	Statement: {
		need(Count, "attempt"), oneOf("action", "confirm", "observe"), need(Text, "text"),
		maybe(Text, "expect"), maybe(Text, "decision"),
		family(Text, "finding"), maybe(Text, "reason"), maybe(Text, "confirmed"), maybe(Count, "corrects"),
	},
	Computed: {
		need(Count, "attempt"), need(Text, "function"),
		maybe(Number, "value"), maybe(Number, "low"), maybe(Number, "high"), maybe(Text, "unit"),
		{Name: "bound", Type: Word, Need: Optional, Words: []string{"above", "below"}},
		maybe(Number, "u"), family(Text, "input"), // NAME INDEX-or-value
		maybe(Text, "decision"), maybe(Text, "rule"),
		family(Text, "result"), family(Text, "finding"), maybe(Text, "reason"),
	},
	Wait:     {need(Number, "seconds"), maybe(Number, "waited"), maybe(Text, "text")},
	Hold:     {need(Text, "role"), maybe(Text, "text")},
	Witness:  {need(Count, "entry"), need(Hash, "leaf"), maybe(Text, "text")},
	Release:  {need(Count, "entry"), need(Hash, "leaf"), maybe(Text, "text")},
	MakeSafe: {need(Text, "reason"), family(Text, "action"), maybe(Text, "text")},
	Left:     {maybe(Text, "reason")},
	Resume:   {family(Text, "state"), maybe(Text, "text")},
	Again:    {need(Count, "attempt"), maybe(Text, "reason"), maybe(Text, "cause"), maybe(Text, "reopen")},
	StepEnd:  {need(Text, "outcome"), maybe(Text, "reason")},
	RunEnd: {
		oneOf("outcome", "passed", "failed", "stopped", "refused", "abandoned"), maybe(Text, "reason"),
	},
	SignOut: {family(Text, "state"), family(Text, "item"), maybe(Text, "text")},
	Note:    {maybe(Count, "entry"), need(Text, "text"), maybe(Text, "interpretation"), maybe(Blob, "file"), maybe(Text, "name")}, // a photograph or a scope's file
	Capture: {
		need(Count, "attempt"), need(Blob, "file"), need(Text, "name"), maybe(Text, "text"), maybe(Text, "capture"),
		maybe(Text, "importer"), family(Text, "setting"), // the reader's version, and how it read the file
		family(Text, "channel"), maybe(Text, "instrument"),
		family(Text, "feature"), maybe(Text, "decision"), maybe(Text, "rule"), // NAME VALUE UNIT U [above|below], SI
		family(Text, "result"), family(Text, "finding"), maybe(Text, "reason"),
		family(Text, "recorder"), maybe(Text, "confirmed"), // CHANNEL INSTRUMENT: what recorded a channel beside the instrument
	},
	Instrument: {need(Text, "id"), need(Blob, "data"), maybe(Text, "reason")},
	Rework: {
		need(Text, "text"), maybe(Text, "work"), // what was done; its kind in rework.yaml
		maybe(Text, "by"), maybe(Text, "done"), // who did it, and when, as said
		family(Text, "part"), family(Text, "void"), // PROOF[ PART…]: reason
		family(Text, "keep"),                        // PROOF: reason
		family(Text, "value"),                       // of vehicle.yaml that changed
		family(Text, "found"), family(Text, "left"), // readings before and after
		family(Blob, "photo"), maybe(Text, "reason"), maybe(Text, "seal"),
		maybe(Hash, "carries"), // work of another log that is put in order here, by its entry's leaf
	},
	ItemOpen: {
		need(Text, "item"), need(Text, "text"), family(Text, "part"), // item: what sort of thing it is
		{Name: "blocks", Type: Word, Need: Optional, Words: []string{"power", "nothing"}},
		maybe(Hash, "carries"), // an item of a log before that this one goes on with, by its entry's leaf
	},
	ItemClose: {
		need(Count, "entry"), need(Hash, "leaf"), need(Text, "text"),
		maybe(Text, "torque"), maybe(Text, "tool"), maybe(Text, "mark"), maybe(Text, "by"), maybe(Text, "seen-by"),
	},
	Nonconformance: {maybe(Count, "entry"), maybe(Hash, "leaf"), need(Text, "text"), family(Text, "part")}, // of a log before, to be decided here
	Disposition: {
		need(Count, "entry"), need(Hash, "leaf"),
		oneOf("disposition", "rework", "repair", "use-as-is", "scrap"), need(Text, "cause"),
		family(Text, "check"), maybe(Text, "concession"), maybe(Text, "text"), // extra checks where no cause was found; who granted it
	},
	Sanction: {
		need(Text, "procedure"), family(Text, "person"), need(Time, "until"), maybe(Text, "barrier"),
		family(Text, "proof"), family(Text, "condition"), maybe(Text, "text"),
	},
	Permit: {
		need(Date, "until"), family(Text, "proof"), family(Text, "condition"), // the last local day
		family(Text, "forced"), maybe(Text, "reason"), // PROOF: state; why it was forced
		maybe(Text, "copy"), maybe(Text, "text"),
	},
	PermitEnd: {need(Count, "entry"), need(Hash, "leaf"), need(Text, "reason")},
	MeterFault: {
		need(Text, "instrument"), maybe(Date, "since"), maybe(Text, "function"), need(Text, "text"),
		maybe(Number, "factor"), maybe(Number, "offset"), // it shows factor × true + offset, SI
		family(Text, "touches"),
	},
	Countersign: {need(Count, "entry"), need(Hash, "leaf"), maybe(Text, "text")},
}
