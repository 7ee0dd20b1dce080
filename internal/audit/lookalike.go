package audit

import (
	"strings"

	"hvproof/internal/entry"
)

// looks maps what looks alike in many typefaces to one of them: common
// practice, no source. Ids have no other letters than these 26 and digits.
var looks = strings.NewReplacer("rn", "m", "vv", "w", "cl", "d", "1", "l", "i", "l", "j", "l", "0", "o", "5", "s", "2", "z", "8", "b", "-", ".")

// lookAlike remarks on a person who is introduced under an id that somebody
// may take for another's.
func (a *Audit) lookAlike(e entry.Entry) {
	id := e.Text("person")
	for _, p := range a.people.Persons() {
		if p.ID != id && looks.Replace(p.ID) == looks.Replace(id) {
			a.remark(e.Index, "look-alike", "%s is introduced, and looks like %s, who is another person: compare the fingerprints", id, p.ID)
			return
		}
	}
}
