package readiness

import (
	"encoding/hex"
	"maps"
	"slices"

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

// OrderBody gives the entry that puts work of another log in order here: with
// what it made void by the rules of then.
func OrderBody(w *Work) entry.Body {
	b := entry.Body{Kind: entry.Rework}
	b.Add("text", w.Text)
	b.Add("work", w.Kind)
	b.Add("by", w.By)
	b.Add("done", w.Done)
	b.AddFamily("part", w.Parts...)
	var voids, keeps []string
	for _, v := range w.Voids {
		voids = append(voids, v.String())
	}
	for _, proof := range slices.Sorted(maps.Keys(w.Keeps)) {
		keeps = append(keeps, proof+": "+w.Keeps[proof])
	}
	b.AddFamily("void", voids...)
	b.AddFamily("keep", keeps...)
	b.AddFamily("value", w.Values...)
	b.AddFamily("found", w.Found...)
	b.AddFamily("left", w.Left...)
	b.AddFamily("photo", w.Photos...)
	b.Add("reason", w.Reason)
	b.Add("seal", w.Seal)
	b.Add("carries", entry.FormatHash(w.Leaf))
	return b
}
