package diag

import (
	"fmt"
	"strings"
	"unicode/utf8"
)

// Nearest gives the candidate that somebody who wrote word most likely
// meant: the one with the fewest changed, missing, added or swapped
// characters, upper and lower case taken as equal, and at most a third of
// the word's length of them (one is always allowed). Of several equally near
// the first wins. A word longer than 64 characters has no nearest.
func Nearest(word string, candidates []string) (string, bool) {
	n := utf8.RuneCountInString(word)
	if n == 0 || n > 64 {
		return "", false
	}
	folded := []rune(strings.ToLower(word))
	best, allowed := "", max(1, n/3)
	for _, c := range candidates {
		other := []rune(strings.ToLower(c))
		if len(other)-len(folded) > allowed || len(folded)-len(other) > allowed {
			continue
		}
		// A one-letter word is near to every other one: only its case may differ.
		d := distance(folded, other)
		if d <= allowed && d < max(len(folded), len(other)) {
			best, allowed = c, d-1
			if d == 0 {
				break
			}
		}
	}
	return best, best != ""
}

// DidYouMean gives the hint `did you mean "x"?` for the nearest candidate,
// "" if none is near.
func DidYouMean(word string, candidates []string) string {
	near, ok := Nearest(word, candidates)
	if !ok {
		return ""
	}
	return fmt.Sprintf("did you mean %q?", near)
}

// distance counts the changes from a to b, a swap of neighbours as one
// (optimal string alignment).
func distance(a, b []rune) int {
	before, last, row := make([]int, len(b)+1), make([]int, len(b)+1), make([]int, len(b)+1)
	for j := range last {
		last[j] = j
	}
	for i := 1; i <= len(a); i++ {
		row[0] = i
		for j := 1; j <= len(b); j++ {
			cost := 1
			if a[i-1] == b[j-1] {
				cost = 0
			}
			row[j] = min(last[j]+1, row[j-1]+1, last[j-1]+cost)
			if i > 1 && j > 1 && a[i-1] == b[j-2] && a[i-2] == b[j-1] {
				row[j] = min(row[j], before[j-2]+1)
			}
		}
		before, last, row = last, row, before
	}
	return last[len(b)]
}
