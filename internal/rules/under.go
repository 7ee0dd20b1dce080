package rules

import "slices"

// Under gives a book in which one rule set governs alone, chosen by the car or
// not: to judge readings again by the rules of an event. Limits that it does
// not have are not in the book. ok is false if there is no such set.
func (b *Book) Under(id string) (out *Book, ok bool) {
	i := slices.IndexFunc(slices.Concat(b.chosen, b.others), func(s *Set) bool { return s.ID == id })
	if i < 0 {
		return nil, false
	}
	set := slices.Concat(b.chosen, b.others)[i]
	out = &Book{car: b.car, chosen: []*Set{set}, byID: map[string][]at{}}
	for _, l := range set.Limits {
		if out.byID[l.ID] == nil {
			out.ids = append(out.ids, l.ID)
		}
		out.byID[l.ID] = append(out.byID[l.ID], at{set, l})
	}
	return out, true
}

// SetIDs gives the ids of all rule sets, those of the car first.
func (b *Book) SetIDs() []string {
	var out []string
	for _, s := range slices.Concat(b.chosen, b.others) {
		out = append(out, s.ID)
	}
	return out
}
