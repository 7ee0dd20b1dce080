package people

import (
	"fmt"
	"slices"
	"strings"

	"hvproof/internal/entry"
)

// A Role is what a person may do. A person may have several.
type Role string

// The roles.
const (
	Operator Role = "operator" // runs procedures, takes readings, works on the car
	Witness  Role = "witness"  // confirms what another person did
	Releaser Role = "releaser" // releases hold points, grants permits, introduces people
)

// ParseRoles reads the `roles` field of an entry: "operator witness".
func ParseRoles(text string) ([]Role, error) {
	var roles []Role
	for word := range strings.SplitSeq(text, " ") {
		role := Role(word)
		if !slices.Contains([]Role{Operator, Witness, Releaser}, role) {
			return nil, fmt.Errorf("%.40q is not a role: operator, witness, releaser", word)
		}
		roles = append(roles, role)
	}
	return roles, nil
}

// FormatRoles prints roles as an entry's `roles` field has them: each once, in
// the fixed order.
func FormatRoles(roles []Role) string {
	var words []string
	for _, r := range []Role{Operator, Witness, Releaser} {
		if slices.Contains(roles, r) {
			words = append(words, string(r))
		}
	}
	return strings.Join(words, " ")
}

var (
	anybody      = []Role{Operator, Witness, Releaser}
	operators    = []Role{Operator}
	releasers    = []Role{Releaser}
	witnesses    = []Role{Witness}
	workshopKeys = []Role{Operator, Releaser}
)

// rights says which roles may sign a kind of entry: one of them is enough.
// Start and Accept are not here: the key that they bring in signs them.
// A releaser alone decides; anybody may stop, leave, make safe and note.
var rights = map[entry.Kind][]Role{
	entry.Join:           releasers,
	entry.Retire:         anybody, // somebody else's key: a releaser only
	entry.HandOver:       releasers,
	entry.Loss:           releasers,
	entry.Baseline:       releasers,
	entry.RunStart:       operators,
	entry.State:          operators,
	entry.Caution:        operators,
	entry.Ambient:        operators,
	entry.Reading:        operators,
	entry.Statement:      operators,
	entry.Computed:       operators,
	entry.Wait:           operators,
	entry.Hold:           operators,
	entry.Witness:        witnesses,
	entry.Release:        releasers,
	entry.MakeSafe:       anybody,
	entry.Left:           anybody,
	entry.Resume:         operators,
	entry.Again:          operators,
	entry.StepEnd:        operators,
	entry.RunEnd:         operators,
	entry.SignOut:        operators,
	entry.Note:           anybody,
	entry.Capture:        operators,
	entry.Instrument:     workshopKeys,
	entry.Rework:         anybody,
	entry.ItemOpen:       anybody,
	entry.ItemClose:      workshopKeys,
	entry.Nonconformance: anybody,
	entry.Disposition:    releasers,
	entry.Sanction:       releasers,
	entry.Permit:         releasers,
	entry.PermitEnd:      anybody,
	entry.MeterFault:     anybody,
	entry.Countersign:    anybody,
}

// mayDo reports whether one of the roles may sign the kind. A kind that this
// version does not know is open to anybody with a valid key: the unknown kind
// itself is the fault.
func mayDo(roles []Role, kind entry.Kind) bool {
	if _, known := entry.Schema(kind); !known {
		return true
	}
	for _, r := range rights[kind] {
		if slices.Contains(roles, r) {
			return true
		}
	}
	return false
}

// MayDo lists the roles of which one is needed to sign a kind of entry; none
// for Start and Accept, which bring their key in.
func MayDo(kind entry.Kind) []Role { return slices.Clone(rights[kind]) }
