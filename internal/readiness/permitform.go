package readiness

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"hvproof/internal/entry"
	"hvproof/internal/form"
)

// GrantForm asks what stands on a sanction for test, or on a permit to
// energise. people are those who may act in this log, signer is who signs, and
// now the time by the log's clock, in the zone of the place.
func GrantForm(sanction bool, people []string, signer string, now time.Time) *form.Form {
	known := func(text string) ([]string, error) { return among(people, text) }
	when := func(*form.Form) bool { return sanction }
	return form.New(
		form.Field{Key: "people", Ask: "Who may be at the car?", Example: "r.mills", Many: true, When: when, Check: known},
		form.Field{Key: "until", Ask: "Until when?", Example: "16:00", When: when, Check: func(text string) ([]string, error) {
			t, err := readUntil(text, now)
			if err != nil {
				return nil, err
			}
			return []string{entry.FormatTime(t)}, nil
		}},
		form.Field{Key: "barrier", Ask: "Where is the barrier, and who watches it?", When: when},
		form.Field{Key: "conditions", Ask: "Under which conditions?", Example: "drive disabled", Many: true, Optional: true},
		secondField(people, signer),
	)
}

// secondField asks who signs beside the signer.
func secondField(people []string, signer string) form.Field {
	return form.Field{Key: "second", Ask: "Who is the second person to sign?", Check: func(text string) ([]string, error) {
		if text == signer {
			return nil, fmt.Errorf("%s signs already: two signatures are two people", signer)
		}
		return among(people, text)
	}}
}

// among takes a person of this log.
func among(people []string, text string) ([]string, error) {
	if !slices.Contains(people, text) {
		return nil, fmt.Errorf("%s is not in this log: %s", text, strings.Join(people, ", "))
	}
	return []string{text}, nil
}

// longest is the longest time for which a sanction is given.
const longest = 24 * time.Hour

// readUntil reads a time of today, or a date and a time, local.
func readUntil(text string, now time.Time) (time.Time, error) {
	for _, layout := range []string{"2006-01-02 15:04", "2006-01-02T15:04"} {
		if t, err := time.ParseInLocation(layout, text, now.Location()); err == nil {
			return inTime(t, now)
		}
	}
	t, err := time.ParseInLocation("15:04", text, now.Location())
	if err != nil {
		return t, fmt.Errorf("%q is not a time such as 16:00", text)
	}
	return inTime(time.Date(now.Year(), now.Month(), now.Day(), t.Hour(), t.Minute(), 0, 0, now.Location()), now)
}

func inTime(t, now time.Time) (time.Time, error) {
	switch {
	case !t.After(now):
		return t, fmt.Errorf("%s is over", t.Format("2006-01-02 15:04"))
	case t.Sub(now) > longest:
		return t, fmt.Errorf("a sanction is for %s at most", "a day")
	}
	return t, nil
}

// standsOn gives the proofs that a grant names: those that are required and
// do not stand in the way.
func standsOn(proofs []Proof) []string {
	var out []string
	for _, p := range proofs {
		if p.State == Holds {
			out = append(out, p.Proof+" "+p.Run)
		}
	}
	return out
}

// SanctionBody gives the entry of a sanction for test. The tree's root, which
// every entry has, is the checkpoint that it stands on.
func SanctionBody(procedure string, proofs []Proof, f *form.Form) entry.Body {
	b := entry.Body{Kind: entry.Sanction}
	b.Add("procedure", procedure)
	b.AddFamily("person", f.All("people")...)
	b.Add("until", f.Get("until"))
	b.Add("barrier", f.Get("barrier"))
	b.AddFamily("proof", standsOn(proofs)...)
	b.AddFamily("condition", f.All("conditions")...)
	return b
}

// PermitBody gives the entry of a permit to energise for one local day. With
// forced reasons it is a forced one; it changes no proof.
func PermitBody(day string, proofs []Proof, forced []string, reason, secondCopy string, f *form.Form) entry.Body {
	b := entry.Body{Kind: entry.Permit}
	b.Add("until", day)
	b.AddFamily("proof", standsOn(proofs)...)
	b.AddFamily("condition", f.All("conditions")...)
	b.AddFamily("forced", forced...)
	b.Add("reason", reason)
	b.Add("copy", secondCopy)
	return b
}

// Countersign gives the entry by which another person stands behind a grant.
func Countersign(of Ref) entry.Body { return naming(entry.Countersign, of) }

// EndBody gives the entry that ends a grant.
func EndBody(of Ref, reason string) entry.Body {
	b := naming(entry.PermitEnd, of)
	b.Add("reason", reason)
	return b
}
