package capture

import (
	"math"
	"slices"
	"strconv"
)

// regular finds start and step of times that are the same distance apart to
// within how finely they are written: the times then need not be kept. slack
// is how far a time may be off, s.
func regular(times []float64, slack float64) (start, step float64, ok bool) {
	n := len(times)
	if n < 3 {
		return 0, 0, false
	}
	start = times[0]
	mean := (times[n-1] - start) / float64(n-1)
	if !(mean > 0) || math.IsInf(mean, 0) {
		return 0, 0, false
	}
	slack += 4 * ulp(math.Max(math.Abs(start), math.Abs(times[n-1])))
	for digits := 1; digits <= 17; digits++ {
		step, _ = strconv.ParseFloat(strconv.FormatFloat(mean, 'g', digits, 64), 64)
		if math.Abs(start+float64(n-1)*step-times[n-1]) <= slack && fits(times, start, step, slack) {
			return start, step, true
		}
	}
	return 0, 0, false
}

// fits reports whether all times are at start + i·step, within slack.
func fits(times []float64, start, step, slack float64) bool {
	for i, t := range times {
		if math.Abs(start+float64(i)*step-t) > slack {
			return false
		}
	}
	return true
}

// ulp is the distance of neighbouring numbers at x.
func ulp(x float64) float64 { return math.Nextafter(x, math.Inf(1)) - x }

// power is 10^exp for the digit of a column, 0 if it has none.
func power(exp int) float64 {
	if exp == math.MaxInt16 {
		return 0
	}
	return math.Pow10(exp)
}

// restarts gives the rows at which time jumps back, in steps of stride rows.
// Clocks without a date that pass midnight are set right first; the count of
// midnights is given.
func restarts(times []float64, undated bool) (rows []int, midnights int) {
	shift := 0.0
	for i := 1; i < len(times); i++ {
		if undated {
			times[i] += shift
			if times[i] < times[i-1]-43200 {
				times[i] += 86400
				shift += 86400
				midnights++
			}
		}
		if times[i] < times[i-1] {
			rows = append(rows, i)
		}
	}
	return rows, midnights
}

// paired reports that times come in pairs: each twice, and rising from pair
// to pair. An odd last one is left out of account.
func paired(times []float64) bool {
	n := len(times) &^ 1
	if n < 8 {
		return n == 4 && times[0] == times[1] && times[2] == times[3] && times[1] < times[2] ||
			n == 6 && paired(append(append([]float64(nil), times[:6]...), times[4]+1, times[4]+1))
	}
	for i := 0; i < n; i += 2 {
		if times[i] != times[i+1] || i > 0 && times[i] <= times[i-1] {
			return false
		}
	}
	return true
}

// ordered reports whether the pairs of v are the least and the greatest value,
// always in the same order.
func ordered(v []float64) bool {
	up, down := true, true
	for i := 0; i+1 < len(v); i += 2 {
		up = up && !(v[i] > v[i+1])
		down = down && !(v[i] < v[i+1])
	}
	return up || down
}

// repeated counts the samples that have the time of the one before.
func repeated(times []float64) int {
	n := 0
	for i := 1; i < len(times); i++ {
		if times[i] == times[i-1] {
			n++
		}
	}
	return n
}

// gap is a step that is much longer than the others.
type gap struct {
	row int
	by  float64
}

// gaps finds steps of more than one and a half times the usual one (three
// times the longer ones, where steps vary), and of more than the digit of
// time besides.
func gaps(times []float64, digit float64) (found int, longest, first gap, usual float64) {
	usual, long := steps(times)
	limit := 1.5*usual + digit
	if long > 1.2*usual+digit {
		limit = 3*long + digit
	}
	for i := 1; i < len(times); i++ {
		if step := times[i] - times[i-1]; step > limit {
			if found++; found == 1 {
				first = gap{i, step}
			}
			if step > longest.by {
				longest = gap{i, step}
			}
		}
	}
	return found, longest, first, usual
}

// steps gives the median and the nine tenths quantile of up to some thousand
// steps of times.
func steps(times []float64) (usual, long float64) {
	stride := max(1, len(times)/4096)
	var all []float64
	for i := 1; i < len(times); i += stride {
		all = append(all, times[i]-times[i-1])
	}
	if len(all) == 0 {
		return 0, 0
	}
	slices.Sort(all)
	return all[len(all)/2], all[(len(all)-1)*9/10]
}
