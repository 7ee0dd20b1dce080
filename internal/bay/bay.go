package bay

import (
	"io"
	"time"

	"hvproof/internal/carfolder"
	"hvproof/internal/entry"
	"hvproof/internal/people"
	"hvproof/internal/run"
)

// A Car is a car folder with its log, opened for writing, as the page needs
// it. The page calls one method at a time.
type Car interface {
	// Folder gives the car's files as they are now.
	Folder() (*carfolder.Folder, error)
	// Practice reports whether the folder is one for practice.
	Practice() bool
	// History gives all runs. It may be another one after an error of Commit.
	History() *run.History
	// Ready gives what is proven, and what is in the way of power.
	Ready() (Ready, error)
	// People gives the ids of those who may act in a role now.
	People(people.Role) []string
	// Persons gives every key that counts now.
	Persons() []people.Person

	// Prepare makes a run ready to begin, and gives the reasons why it must
	// not begin.
	Prepare(Choice) (run.Start, []string, error)
	// Begin records the beginning of a run, signed by its operator, who has
	// unlocked.
	Begin(run.Start) error

	// Cooling gives the prompt that asks to wait, where a run waits for a step
	// that heats a resistor which earlier tries left hot. Waited refuses what was
	// said to it; nothing of it is recorded.
	Cooling(*run.Machine, run.Prompt) (run.Prompt, bool)
	Waited(m *run.Machine, ask run.Prompt, text string) *run.Refused

	// CloseItem closes an open item, signed by a person who has unlocked, with
	// what was said of it: text, torque, tool, mark, by, seen_by.
	CloseItem(id, by string, said map[string]string) (entry.Entry, error)
	// CheckClose is what CloseItem would refuse, before anybody unlocks.
	CheckClose(id, by string, said map[string]string) error
	// Closings gives how items were closed, newest first.
	Closings() []Closing

	// Unlock makes a person's key ready to sign if the passphrase opens it,
	// whether or not it was ready before. In a practice folder none is needed.
	Unlock(person string, passphrase []byte) error
	// Lock forgets a person's key.
	Lock(person string)
	// Commit signs an entry with the key of a person who has unlocked, and
	// stores it. With an error nothing can be said of the entry but by the
	// history, which the car has then read anew from the log.
	Commit(entry.Body, string) (entry.Entry, error)

	// Trace gives the capture that an entry of a run recorded. What it gives may
	// be used while the car is used otherwise.
	Trace(run string, entry int64) (Trace, error)

	// Receive takes a file into the log's store as it comes; any number may come
	// at once. Blob gives the content of one that was kept.
	Receive(io.Reader) (File, error)
	Blob([32]byte) ([]byte, error)

	// Dialogue opens a form: "work", "item", "decide" of a nonconformance,
	// "sanction" of a procedure, "permit", "end" of a grant, "baseline".
	Dialogue(what, of string) (*Dialogue, error)
	// Works and Grants give what was recorded, newest first.
	Works() []Work
	Grants() []Grant

	// Now is the time as entries have it.
	Now() time.Time
}

// A Choice is who runs a procedure, and with which instruments.
type Choice struct {
	Procedure                   string
	Operator, Witness, Releaser string
	Others                      []string
	Instruments                 map[string]string // role to instrument id
	Retest                      bool              // only what is owed
}

// Ready says what is proven.
type Ready struct {
	May     bool // power may come on
	Proofs  []Proof
	Retest  []Retest // the least that must be run, in an order that can be done
	Items   []Item   // open items, and nonconformances
	Reasons []string // why power may not come on
}

// A Retest is one procedure to be run, cut down to what is owed.
type Retest struct {
	Procedure, Title, Why string
	Whole                 bool     // all of it
	Items                 []string // what is owed of it
	Proofs                []string // that it makes hold
	People, Minutes       int      // minutes are an estimate
}

// An Item is something provisional at the car, or a requirement that was not
// met.
type Item struct {
	ID, Kind, Text, Lacks string
	Parts                 []string
	Blocks                bool // power may not come on while it is open
	Closes                bool // it is closed at the car, with evidence; else it is decided about
	Joint                 bool // the evidence is torque, tool, mark and a second person
}

// A Closing is how an item was closed.
type Closing struct {
	Entry                                          int64
	ID, Text, Done, Torque, Tool, Mark, By, SeenBy string
	When, Signer                                   string
	Files                                          []ClosingFile
	Here                                           bool // it is of this log: a photograph can be given to it
}

// A ClosingFile is a photograph of a closed item; Digest is its SHA-256, hex.
type ClosingFile struct{ Name, Digest string }

// A Proof is one requirement and its state, as hvproof ready prints it.
type Proof struct {
	ID, State, Stage, Procedure, Reason, Run, Until string
	Required, OK                                    bool
	Parts                                           []string
}

// Options say how the page is served.
type Options struct {
	// Dir is the folder for the devices that were paired, the key of the
	// forms' tokens, and the certificate; the page makes it.
	Dir string
	// LAN asks of every device that it be paired, and sends its cookie over
	// TLS alone.
	LAN bool
	// Address is the address that other devices open, for the code that is
	// drawn for them; with LAN only.
	Address string
	// Fingerprint is the certificate's; with LAN only.
	Fingerprint [32]byte
	// Names are the host names by which the page may be asked for, besides
	// localhost and the address that a connection came in on.
	Names []string
	// Wording holds the page's texts; nil for the built-in ones.
	Wording *Wording

	Random io.Reader        // a source fit for keys
	Now    func() time.Time // the machine's clock, for codes and idle times
	// Say is told what the person at the machine should see, such as a new
	// pairing code.
	Say func(line string)
}
