package readiness

import (
	"encoding/hex"

	"hvproof/internal/entry"
	"hvproof/internal/form"
	"hvproof/internal/rework"
)

// WorkBody gives the entry of work on the HV system, from the answered form,
// the effects that the rules of today give it, and the photographs' digests.
func WorkBody(f *form.Form, effects []rework.Effect, photos [][32]byte) entry.Body {
	b := entry.Body{Kind: entry.Rework}
	b.Add("text", f.Get(rework.KeyText))
	b.Add("work", f.Get(rework.KeyWork))
	b.Add("by", f.Get(rework.KeyBy))
	b.Add("done", f.Get(rework.KeyDone))
	b.AddFamily("part", f.All(rework.KeyParts)...)
	var voids, keeps, digests []string
	for _, e := range effects {
		if e.Kept {
			keeps = append(keeps, e.Proof+": "+e.Reason)
		} else {
			voids = append(voids, Voiding{e.Proof, e.Parts, e.Reason}.String())
		}
	}
	b.AddFamily("void", voids...)
	b.AddFamily("keep", keeps...)
	b.AddFamily("value", f.All(rework.KeyValues)...)
	b.AddFamily("found", f.All(rework.KeyFound)...)
	b.AddFamily("left", f.All(rework.KeyLeft)...)
	for _, p := range photos {
		digests = append(digests, hex.EncodeToString(p[:]))
	}
	b.AddFamily("photo", digests...)
	b.Add("reason", f.Get(rework.KeyReason))
	b.Add("seal", f.Get(rework.KeySeal))
	return b
}
