package capture

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"hvproof/internal/diag"
	"hvproof/internal/quantity"
)

// findTimes finds the columns that are times, or the interval in the header.
func (l *layout) findTimes() error {
	if err := l.readInterval(); err != nil {
		return err
	}
	if l.opt.NoTime {
		return l.needInterval()
	}
	if l.opt.TimeColumn != "" {
		c, err := l.column(l.opt.TimeColumn)
		if err != nil {
			return err
		}
		l.times = []int{c}
		return nil
	}
	var moments []int
	for c := range l.columns {
		switch {
		case l.is(c, isMoment):
			moments = append(moments, c)
		case l.numeric(c) && l.isTime(c):
			l.times = append(l.times, c)
		}
	}
	switch {
	case len(l.times) == 1 || l.alternate():
		return nil
	case len(l.times) > 1:
		return l.head.fault(max(l.header.named-1, 0), "say which with --time-column", "%s and %s can both be the time",
			l.title(l.times[0]), l.title(l.times[1]))
	case len(moments) > 0:
		return l.clockTimes(moments)
	case l.columns > l.left+1 && l.header.named == 0 && l.rises(l.left):
		l.times = []int{l.left}
		l.assume("the columns have no names: the first one, which rises steadily, is the time")
		return nil
	case l.interval > 0:
		return nil
	}
	return l.needInterval()
}

// isTime reports a column that is a time by its unit or name.
func (l *layout) isTime(c int) bool {
	if u, ok := unitOf(l.units[c]); ok {
		return u.dim == quantity.Second
	}
	name := plainKey(l.names[c])
	if slices.Contains(timeNames, name) {
		return true
	}
	bare := strings.TrimRight(name, "0123456789 ")
	return name != bare && (bare == "t" || bare == "time" || bare == "x")
}

// alternate reports that each channel has times of its own: t1, CH1, t2, CH2.
func (l *layout) alternate() bool {
	if len(l.times) < 2 || len(l.times)*2 != l.columns {
		return false
	}
	for i, c := range l.times {
		if c != 2*i {
			return false
		}
	}
	return true
}

// clockTimes takes times of the clock: one column, or a date and a time.
func (l *layout) clockTimes(moments []int) error {
	dateOnly := func(c int) bool {
		for i := l.first; i < len(l.head.lines); i++ {
			if parts := l.row(i); parts != nil {
				_, dated, _ := parseMoment(parts[c])
				return dated && len(parts[c]) == 10
			}
		}
		return false
	}
	c := moments[0]
	if dateOnly(c) {
		if len(moments) < 2 || moments[1] != c+1 {
			return l.head.fault(l.first, "a time of day is needed in the next column", "column %d has dates without a time", c+1)
		}
		l.p.fields[c] = field{use: asDate, to: -1, unit: -1}
		c = moments[1]
		moments = moments[1:]
	}
	if len(moments) > 1 {
		return l.head.fault(l.first, "say which with --time-column", "columns %d and %d are both times of the clock", c+1, moments[1]+1)
	}
	l.times, l.clock = []int{c}, true
	return nil
}

// rises reports that the numbers of column c never fall in the sample, and
// do rise.
func (l *layout) rises(c int) bool {
	if !l.numeric(c) {
		return false
	}
	rows, rise, last := 0, false, 0.0
	for i := l.first; i < len(l.head.lines); i++ {
		parts := l.row(i)
		if parts == nil {
			continue
		}
		t := l.classify(parts[c])
		if t.kind != isNumber || rows > 0 && t.x < last {
			return false
		}
		rise = rise || rows > 0 && t.x > last
		last = t.x
		rows++
	}
	return rise
}

// column finds a column by name or number.
func (l *layout) column(name string) (int, error) {
	for c := range l.columns {
		if strings.EqualFold(l.names[c], name) {
			return c, nil
		}
	}
	if n, err := strconv.Atoi(name); err == nil && n >= 1 && n <= l.columns {
		return n - 1, nil
	}
	hint := fmt.Sprintf("columns are numbered from 1 to %d", l.columns)
	if near, ok := diag.Nearest(name, l.names); ok && near != "" {
		hint = fmt.Sprintf("did you mean %q?", near)
	}
	return 0, l.head.fault(max(l.header.named-1, 0), hint, "there is no column %q", name)
}
