package store

// A Place says how a folder lies to another one: what a copy there survives.
type Place string

// The places of a copy.
const (
	OtherDevice  Place = "other device"  // another disk, stick or machine
	SameDevice   Place = "same device"   // lost with it
	InMemory     Place = "in memory"     // gone with the power
	UnknownPlace Place = "unknown place" // the system does not tell
)

// PlaceOf tells whether the folder copied lies on another device than the
// folder of. It never takes what cannot be known for another device: two file
// systems may be parts of one disk.
func PlaceOf(copied, of string) (Place, error) { return lieOf(copied, of) }
