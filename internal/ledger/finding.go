package ledger

import (
	"fmt"
	"slices"
)

// A Code names a kind of fault. The codes are fixed: they stand in the JSON
// that others read.
type Code string

// The codes of faults.
const (
	MalformedEntry     Code = "malformed-entry"      // not a note with one signature, or not spelled as it would be printed
	UnknownKind        Code = "unknown-kind"         // of a kind that this version does not know
	BadSignature       Code = "bad-signature"        // the signature does not belong to text and key
	WrongSigner        Code = "wrong-signer"         // the key may not sign this
	RetiredKey         Code = "retired-key"          // the key had ended
	MissingEntry       Code = "missing-entry"        // an entry is not there
	DoubledEntry       Code = "doubled-entry"        // an entry is there twice
	MovedEntry         Code = "moved-entry"          // an entry is not in its place
	ForeignEntry       Code = "foreign-entry"        // of another log, or about an entry that is not in this one
	BadRoot            Code = "bad-root"             // the entries before are not those that were signed
	BadCheckpoint      Code = "bad-checkpoint"       // the checkpoint does not belong to the entries
	RolledBack         Code = "rolled-back"          // the log was longer once
	Diverged           Code = "diverged"             // the log had other entries once
	MissingBlob        Code = "missing-blob"         // a named blob is not there
	AlteredBlob        Code = "altered-blob"         // a named blob has other bytes
	PracticeAsEvidence Code = "practice-as-evidence" // practice that claims not to be, or the reverse
	NotEvidence        Code = "not-evidence"         // evidence was asked for and this is practice
)

var codes = [...]Code{MalformedEntry, UnknownKind, BadSignature, WrongSigner, RetiredKey, MissingEntry,
	DoubledEntry, MovedEntry, ForeignEntry, BadRoot, BadCheckpoint, RolledBack, Diverged, MissingBlob,
	AlteredBlob, PracticeAsEvidence, NotEvidence}

// Codes lists the codes of faults.
func Codes() []Code { return slices.Clone(codes[:]) }

// A Finding is one fault, with the entry that it is about. A fault of a
// checkpoint is about the last entry that the checkpoint covers.
type Finding struct {
	Entry    int64
	Code     Code
	Sentence string
}

func finding(index int64, code Code, format string, a ...any) Finding {
	return Finding{index, code, fmt.Sprintf(format, a...)}
}
