package feature

import (
	"math"
	"strings"

	"hvproof/internal/measure"
	"hvproof/internal/quantity"
)

// missingPart is the part of the whole current below which a pack counts as
// not taking part. Own choice, no source: far below the share of any pack that
// is worth its weight, and above what a clamp shows by its zero alone.
const missingPart = 0.05

// sharing gives each pack's share of the whole current.
func (a *analyst) sharing() {
	var packs []*trace
	for _, role := range a.order {
		if baseRole(role) == RoleCurrent && role != RoleCurrent {
			packs = append(packs, a.traces[role])
		}
	}
	if len(packs) < 2 {
		a.note("Fewer than two currents of packs are named: give --channel current.NAME=COLUMN for each.")
		return
	}
	for _, p := range packs {
		if !a.enough(p) {
			return
		}
		if c, ok := p.clippedIn(0, p.s.Len()); ok {
			a.clipped(p, c.From, c.To, c.Limit)
		}
	}
	a.out.Picture.Shown = shown(packs...)
	rows := alignedRows(packs)
	top := 0.0
	for _, r := range rows {
		top = math.Max(top, math.Abs(total(r)))
	}
	// Shares are told where much flows: above half of the most.
	var much [][]float64
	for _, r := range rows {
		if math.Abs(total(r)) >= top/2 && top > 0 {
			much = append(much, r)
		}
	}
	if len(much) < fewest {
		a.find("too-few-samples", "Only %d samples have a current above half of the highest: record a steady load for longer.", len(much))
		return
	}
	a.shares(packs, much)
}

// alignedRows gives the currents of all packs at the times of the first.
func alignedRows(packs []*trace) [][]float64 {
	first := packs[0]
	var rows [][]float64
	for i := range first.s.Len() {
		row := make([]float64, len(packs))
		known := true
		for k, p := range packs {
			j := i
			if p.ch.Axis != first.ch.Axis {
				j = min(p.s.Index(first.s.T(i)), p.s.Len()-1)
			}
			row[k] = p.s.Y[j]
			known = known && row[k] == row[k]
		}
		if known {
			rows = append(rows, row)
		}
	}
	return rows
}

func total(row []float64) float64 {
	s := 0.0
	for _, x := range row {
		s += x
	}
	return s
}

// shares judges each pack.
func (a *analyst) shares(packs []*trace, rows [][]float64) {
	// Own choice, no source: enough to see a pack drop out for a part of the
	// recording, few enough that noise is no drop.
	const blocks = 10
	mean := make([]float64, len(packs))
	var sum float64
	parts := make([][blocks]float64, len(packs))
	for b := range blocks {
		from, to := b*len(rows)/blocks, (b+1)*len(rows)/blocks
		var all float64
		one := make([]float64, len(packs))
		for _, r := range rows[from:to] {
			for k, x := range r {
				one[k] += x
				mean[k] += x
			}
			all += total(r)
		}
		sum += all
		for k := range packs {
			parts[k][b] = one[k] / all
		}
	}
	whole := sum / float64(len(rows))
	a.feature("total_current", quantity.Ampere, whole, a.sumRating(packs, mean, len(rows)))
	for k, p := range packs {
		name := strings.TrimPrefix(p.role, RoleCurrent+".")
		share, amps := mean[k]/sum, mean[k]/float64(len(rows))
		u := measure.Combine(append([]float64{2 * scatter(parts[k])}, a.shareRating(packs, mean, len(rows), k)...)...)
		a.feature("current."+name, quantity.Ampere, amps, p.rating(amps))
		a.feature("share."+name, quantity.One, share, u)
		gone, least := false, 1.0
		for _, x := range parts[k] {
			gone = gone || math.Abs(x) < missingPart
			least = math.Min(least, x)
		}
		window, known := a.car.Shares[name]
		switch {
		case gone:
			a.find("one-pack-missing", "Pack %s gives %s of the current, %s of %s: it does not take part, or not all the time. Look at its fuse, its contactors and its service disconnect; the other packs carry its share.",
				name, percent(least), amperes(amps), amperes(whole))
		case known && stated(window) && !overlaps(window, share-u, share+u):
			a.find("share-differs", "Pack %s gives %s of the current; this car's data give %s to %s. A joint, a fuse holder or cells have more resistance than drawn: measure the voltage across each part of its path under load.",
				name, percent(share), percent(window.Lo), percent(window.Hi))
		}
	}
}

// scatter gives the standard error of a mean of blocks.
func scatter(x [10]float64) float64 {
	mean, ss := 0.0, 0.0
	for _, v := range x {
		mean += v / float64(len(x))
	}
	for _, v := range x {
		ss += (v - mean) * (v - mean)
	}
	return math.Sqrt(ss / float64(len(x)-1) / float64(len(x)))
}

// shareRating gives what each instrument's accuracy does to the share of k.
func (a *analyst) shareRating(packs []*trace, mean []float64, n, k int) []float64 {
	sum := 0.0
	for _, m := range mean {
		sum += m
	}
	share := mean[k] / sum
	var out []float64
	for i, p := range packs {
		by := share
		if i == k {
			by = 1 - share
		}
		amps := mean[i] / float64(n)
		out = append(out, math.Abs(by*measure.Combine(p.rating(amps), p.step())/(sum/float64(n))))
	}
	return out
}

func (a *analyst) sumRating(packs []*trace, mean []float64, n int) float64 {
	var all []float64
	for i, p := range packs {
		all = append(all, p.rating(mean[i]/float64(n)))
	}
	return measure.Combine(all...)
}
