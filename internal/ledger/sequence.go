package ledger

import (
	"cmp"
	"math"
	"slices"
)

// A placed says which index the entry that lies at a place states.
type placed struct{ at, stated int64 }

// A sequence finds out what is missing, doubled and moved. Of a log in good
// order it keeps nothing but the length.
type sequence struct {
	straight int64 // so many entries are where they say, from 0 on
	rest     []placed
}

func (s *sequence) add(at, stated int64) {
	if len(s.rest) == 0 && at == s.straight && stated == at {
		s.straight++
		return
	}
	s.rest = append(s.rest, placed{at, stated})
}

// shifted returns the first place at which an entry lies that states another
// index; the greatest int64 if there is none.
func (s *sequence) shifted() int64 {
	for _, p := range s.rest {
		if p.at != p.stated {
			return p.at
		}
	}
	return math.MaxInt64
}

// faults says what is wrong with the order. The checkpoint's size and the
// storage's tell how many entries there should be at the end.
func (s *sequence) faults(signed, size int64) []Finding {
	bound := max(signed, size)
	if len(s.rest) == 0 && s.straight == bound {
		return nil
	}
	var faults []Finding
	seen := map[int64]bool{}
	inPlace := map[int64]bool{}
	for _, p := range s.rest {
		inPlace[p.stated] = inPlace[p.stated] || p.at == p.stated
	}
	var single []placed
	end := s.straight
	for _, p := range s.rest {
		switch {
		case p.stated > 2*bound+1: // no removal explains that
			faults = append(faults, finding(p.at, MovedEntry, "here lies an entry that says it is entry %d", p.stated))
			seen[p.at] = true
		case p.stated < s.straight || seen[p.stated] || inPlace[p.stated] && p.at != p.stated:
			faults = append(faults, finding(p.at, DoubledEntry, "entry %d lies here once more", p.stated))
		default:
			seen[p.stated] = true
			single = append(single, p)
			end = max(end, p.stated+1)
		}
	}
	if int64(len(s.rest))+s.straight < bound { // else doubled ones fill the places
		end = max(end, bound)
	}
	for index := s.straight; index < end; index++ {
		first := index
		for index < end && !seen[index] {
			index++
		}
		if index-first == 1 {
			faults = append(faults, finding(first, MissingEntry, "the entry is not there"))
		} else if index > first {
			faults = append(faults, finding(first, MissingEntry, "the entries %d to %d are not there", first, index-1))
		}
	}
	for _, p := range outOfOrder(single) {
		faults = append(faults, finding(p.at, MovedEntry, "here lies entry %d, out of its order", p.stated))
	}
	return faults
}

// outOfOrder returns the fewest entries without which the others are in
// ascending order: all but a longest ascending subsequence.
func outOfOrder(list []placed) []placed {
	var tails []int // tails[n]: where the ascending run of length n+1 with the lowest end ends
	before := make([]int, len(list))
	for i, p := range list {
		n, _ := slices.BinarySearchFunc(tails, p.stated, func(at int, stated int64) int {
			return cmp.Compare(list[at].stated, stated)
		})
		before[i] = -1
		if n > 0 {
			before[i] = tails[n-1]
		}
		tails = append(tails[:n], append([]int{i}, tails[min(n+1, len(tails)):]...)...)
	}
	keep := make([]bool, len(list))
	if len(tails) > 0 {
		for i := tails[len(tails)-1]; i >= 0; i = before[i] {
			keep[i] = true
		}
	}
	var out []placed
	for i, p := range list {
		if !keep[i] {
			out = append(out, p)
		}
	}
	return out
}

// withoutEchoes leaves out the faults that only repeat another one: of a root,
// where the entry itself is faulty or entries lie at other places than their
// own from shifted on; of signer and reference, where the entry is misplaced.
func withoutEchoes(faults, place []Finding, shifted int64) []Finding {
	misplaced := map[int64]bool{}
	for _, f := range place {
		if f.Code != MissingEntry {
			misplaced[f.Entry] = true
		}
	}
	faulty := map[int64]bool{}
	for _, f := range faults {
		faulty[f.Entry] = faulty[f.Entry] || f.Code != BadRoot
	}
	return slices.DeleteFunc(faults, func(f Finding) bool {
		switch f.Code {
		case BadRoot:
			return faulty[f.Entry] || f.Entry >= shifted
		case WrongSigner, RetiredKey, ForeignEntry:
			return misplaced[f.Entry]
		}
		return false
	})
}
