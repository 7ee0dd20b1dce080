package formula

import (
	"container/heap"
	"math"
)

// piece is a box with a lower bound of the value over it.
type piece struct {
	box   []interval
	low   float64
	split int // variable to split next, -1 if none can be
}

// pieces is a heap, lowest bound first.
type pieces []piece

func (h pieces) Len() int           { return len(h) }
func (h pieces) Less(i, j int) bool { return h[i].low < h[j].low }
func (h pieces) Swap(i, j int)      { h[i], h[j] = h[j], h[i] }
func (h *pieces) Push(x any)        { *h = append(*h, x.(piece)) }
func (h *pieces) Pop() any {
	last := (*h)[len(*h)-1]
	*h = (*h)[:len(*h)-1]
	return last
}

// closeEnough is the relative width at which branch and bound stops.
const closeEnough = 1e-9

// branch bounds the value from below over the free variables: the piece with
// the lowest bound is halved until that bound is close to a value that is
// reached, or maxPieces are used. The bound holds whenever it stops.
func (p *problem) branch() float64 {
	reached := math.Inf(1)
	h := &pieces{p.piece(p.box, math.Inf(-1), &reached)}
	for n := 1; ; n += 2 {
		top := (*h)[0]
		near := closeEnough * max(math.Abs(reached), math.Abs(top.low))
		if top.low >= reached-near || top.split < 0 || n >= maxPieces || p.r.work <= 0 {
			return top.low
		}
		heap.Pop(h)
		a, b, ok := halves(top.box, top.split)
		if !ok {
			return top.low
		}
		heap.Push(h, p.piece(a, top.low, &reached))
		heap.Push(h, p.piece(b, top.low, &reached))
	}
}

// piece bounds one box: by its natural enclosure, by the mean value form, and
// with the variables fixed that have a direction in this box. reached is
// lowered to values that occur.
func (p *problem) piece(box []interval, known float64, reached *float64) piece {
	v := p.eval(box, p.free)
	c := piece{box: box, low: max(known, v.lo), split: -1}
	centre, lowest := make([]interval, len(box)), append([]interval(nil), box...)
	spread, most, fixed := interval{}, -1.0, false
	for k := range box {
		centre[k] = point(box[k].mid())
		if !p.free[k] || box[k].isPoint() {
			continue
		}
		g := p.gradient(k)
		spread = spread.add(g.mul(box[k].sub(centre[k])))
		switch direction(g) {
		case atLow, flat:
			lowest[k], fixed = point(box[k].lo), true
			continue
		case atHigh:
			lowest[k], fixed = point(box[k].hi), true
			continue
		}
		weight := max(-g.lo, g.hi) * box[k].width()
		if math.IsInf(weight, 1) {
			weight = math.MaxFloat64 * min(1, p.kept(box, k))
		}
		if _, _, ok := halves(box, k); ok && weight > most {
			c.split, most = k, weight
		}
	}
	middle := p.eval(centre, nil)
	*reached = min(*reached, middle.hi)
	if low := addDown(middle.lo, spread.lo); !math.IsNaN(low) {
		c.low = max(c.low, low)
	}
	if fixed {
		v := p.eval(lowest, nil)
		c.low = max(c.low, v.lo)
		c.box = lowest
		if c.split < 0 { // a corner: its value is reached
			*reached = min(*reached, v.hi)
		}
	}
	return c
}
