package bay

import (
	"hvproof/internal/form"
)

// A Dialogue is one of the program's forms with what the page needs around it:
// who may sign, what stands against it, and how it is recorded. The questions,
// their order and their checks are the form's own, as at a terminal.
type Dialogue struct {
	What, Of string // such as "sanction" of "precharge"
	About    string // what it is about, in the car's or the log's words

	Signers []string
	Why     []string // it is refused now: nothing is asked

	// Form begins the form for the one who signs.
	Form func(signer string) *form.Form
	// Offers gives answers to a field that are known beforehand; others may be
	// taken, too. It may be nil.
	Offers func(key string, f *form.Form) []string
	// Labels names choices in the car's own words.
	Labels map[string]string
	// Effects tells what recording it makes void; it may be nil.
	Effects func(f *form.Form) []Effect

	Photos string // the key of the field that is answered with files, "" without
	Second string // the key of the field that names who signs besides, "" without
	From   int64  // number of entries when it was begun
	Record func(d *Dialogue, f *form.Form, signer string, photos [][32]byte) error
	Then   string // the page that follows
}

// An Effect is what work on HV does to one proof.
type Effect struct {
	Proof, Reason string
	Parts         []string // what of it; none is all of it
	Kept          bool     // it stands
}

// A Work is recorded work on HV.
type Work struct {
	Entry                                             int64
	When, Title, Text, Reason, By, Done, Signer, Seal string
	Parts, Found, Left, Values, Photos                []string
	Void                                              []Effect
}

// A Grant is a sanction for test or a permit to energise.
type Grant struct {
	Entry                                       int64
	Permit, InForce                             bool
	Procedure, Barrier, Until, Reason, Over     string
	Copy                                        string // of the checkpoint, "" for none
	People, Conditions, Forced, Proofs, Signers []string
}
