package capture

import "math"

// column is one column of numbers as it is being put together. What fits into
// the room reserved for it stands there. The rest waits in pieces until join,
// as a run where it is even, as whole numbers where they are decimals of a few
// digits: so a column of which nobody knew the length is at no time held twice
// at full size.
type column struct {
	whole  []float64
	pieces []piece
	n      int
}

// piece is a part of a column: even, or floats, or else ints/scale.
type piece struct {
	even   run
	floats []float64
	ints   []int32
	scale  float64
}

// pieceSize is how many numbers a piece holds that is filled one by one.
const pieceSize = 1 << 15

// reserve makes room for n numbers.
func (c *column) reserve(n int) { c.whole = make([]float64, 0, n) }

// grow makes room for all numbers where so many came from the first of the
// bytes that there are, and puts these there.
func (c *column) grow(bytes, first int64) {
	had := c.join()
	c.reserve(int(float64(bytes)*float64(c.n)/float64(first)*1.02) + 64)
	c.whole = append(c.whole, had...)
}

// add appends numbers whose last decimal is 10^digit or above. They are
// copied.
func (c *column) add(x []float64, digit int) {
	room := min(len(x), cap(c.whole)-len(c.whole))
	if len(c.pieces) > 0 {
		room = 0
	}
	c.whole = append(c.whole, x[:room]...)
	c.n += len(x)
	if x = x[room:]; len(x) == 0 {
		return
	}
	if p, ok := decimals(x, digit); ok {
		c.pieces = append(c.pieces, p)
		return
	}
	c.pieces = append(c.pieces, piece{floats: append([]float64(nil), x...)})
}

// addEven appends an even part.
func (c *column) addEven(r run) {
	c.n += r.n
	if len(c.pieces) == 0 && cap(c.whole)-len(c.whole) >= r.n {
		c.whole = r.append(c.whole)
		return
	}
	if last := len(c.pieces) - 1; last < 0 || c.pieces[last].even.n == 0 || !c.pieces[last].even.join(r) {
		c.pieces = append(c.pieces, piece{even: r})
	}
}

// evenly gives the whole column as a run of three numbers or more that rise, if
// it is one.
func (c *column) evenly() *run {
	if len(c.whole) > 0 || len(c.pieces) != 1 || c.n < 3 {
		return nil
	}
	if r := &c.pieces[0].even; r.n == c.n && r.step > 0 {
		return r
	}
	return nil
}

// push appends one number.
func (c *column) push(x float64) {
	c.n++
	if len(c.pieces) == 0 && len(c.whole) < cap(c.whole) {
		c.whole = append(c.whole, x)
		return
	}
	last := len(c.pieces) - 1
	if last < 0 || len(c.pieces[last].floats) == pieceSize {
		c.pieces = append(c.pieces, piece{floats: make([]float64, 0, pieceSize)})
		last++
	}
	c.pieces[last].floats = append(c.pieces[last].floats, x)
}

// decimals gives numbers as whole multiples of 10^digit, where that gives
// the very same float64 back, the sign of a zero too.
func decimals(x []float64, digit int) (piece, bool) {
	if digit > 0 || digit < -22 {
		return piece{}, false
	}
	p := piece{ints: make([]int32, len(x)), scale: tens[-digit]}
	for i, v := range x {
		m := math.Round(v * p.scale)
		if !(math.Abs(m) <= math.MaxInt32) || math.Float64bits(float64(int32(m))/p.scale) != math.Float64bits(v) {
			return piece{}, false
		}
		p.ints[i] = int32(m)
	}
	return p, true
}

// testOnlyJoining, if not nil, is called when a column's numbers are there
// both in pieces and whole.
var testOnlyJoining func()

// join gives the whole column, and lets go of its pieces.
func (c *column) join() []float64 {
	if len(c.pieces) == 0 {
		return c.whole
	}
	out := append(make([]float64, 0, c.n), c.whole...)
	if testOnlyJoining != nil {
		testOnlyJoining()
	}
	for i, p := range c.pieces {
		out = p.even.append(out)
		out = append(out, p.floats...)
		for _, m := range p.ints {
			out = append(out, float64(m)/p.scale)
		}
		c.pieces[i] = piece{}
	}
	c.whole, c.pieces = out, nil
	return out
}
