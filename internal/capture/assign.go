package capture

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	"hvproof/internal/quantity"
)

// assign says what every column is for and plans the channels.
func (l *layout) assign() error {
	if len(l.times) > 0 {
		l.declared, l.interval = l.interval, 0
		if l.opt.Interval > 0 {
			return l.head.fault(max(l.header.named-1, 0), "leave --interval out, or say that no column is a time with --no-time",
				"the file has times of its own")
		}
	}
	l.set.Columns = make([]Column, l.columns)
	lastValue := -1
	for c := range l.columns {
		f := &l.p.fields[c]
		d := &l.set.Columns[c]
		d.Name, d.Unit = l.names[c], l.units[c]
		if f.use == asDate {
			d.Use = "date"
			continue
		}
		*f = field{use: unread, to: -1, unit: -1, name: l.names[c]}
		switch {
		case slices.Contains(l.times, c):
			f.use, f.to = asValue, l.keep()
			l.p.times = append(l.p.times, f.to)
			if err := l.timeColumn(c, f); err != nil {
				return err
			}
			d.Use, d.Unit = "time", l.set.TimeUnit
		case l.kinds[c][isText] > 0 && l.unitWords[c] && lastValue >= 0 && l.p.fields[lastValue].unit < 0:
			f.use, d.Use = asUnit, "unit"
			if err := l.unitColumn(lastValue, c); err != nil {
				return err
			}
		case l.numeric(c) && !l.counter(c):
			f.use, f.to = asValue, l.keep()
			if err := l.channel(c, f); err != nil {
				return err
			}
			d.Use, d.Unit = "channel", l.channels[len(l.channels)-1].unit
			lastValue = c
		default:
			d.Use = "not read"
		}
	}
	if len(l.channels) == 0 {
		return l.head.fault(l.first, "a capture needs a column of values beside the time", "there is no channel")
	}
	return l.raw()
}

// keep gives the next column of the result.
func (l *layout) keep() int {
	l.p.kept++
	return l.p.kept - 1
}

// counter reports a column that numbers the samples.
func (l *layout) counter(c int) bool { return slices.Contains(counterNames, plainKey(l.names[c])) }

// channel plans the channel of column c.
func (l *layout) channel(c int, f *field) error {
	ch := channelPlan{name: l.names[c], column: c, value: f.to, time: -1}
	if n := len(l.p.times); n > 0 {
		ch.time = l.p.times[n-1]
		if !l.alternate() {
			ch.time = l.p.times[0]
		}
	} else if len(l.times) > 0 {
		ch.time = -2 // the time column comes later: set when all are known
	}
	if ch.name == "" {
		ch.name = l.defaultName(c)
	}
	f.name = ch.name
	unitText := l.units[c]
	if unitText == "" {
		unitText = l.unitInHeader(len(l.channels))
	}
	if given, ok := l.opt.Units[ch.name]; ok {
		unitText = given
	}
	ch.unit = unitText
	if unitText != "" {
		u, ok := unitOf(unitText)
		if !ok {
			if _, given := l.opt.Units[ch.name]; given {
				return l.head.fault(max(l.header.named-1, 0), "V, mV, kV, A, mA, Ω, …", "%q is no unit", unitText)
			}
			l.assume("channel %q has the unit %q, which is not known here: its numbers are taken as they are", ch.name, unitText)
		}
		ch.dim, f.shift, f.affine, f.gain, f.zero = u.dim, u.shift, u.affine, u.gain, u.zero
	}
	l.channels = append(l.channels, ch)
	return nil
}

// defaultName is what a channel is called that the file does not name.
func (l *layout) defaultName(c int) string {
	if p, ok := l.header.find(sourceKeys); ok && l.columns == 1 {
		return p.values[0]
	}
	return fmt.Sprintf("column %d", c+1)
}

// unitInHeader is the unit of channel number n by the preamble.
func (l *layout) unitInHeader(n int) string {
	p, ok := l.header.find(unitKeys)
	if !ok {
		return ""
	}
	if n < len(p.values) {
		return bracketed(p.values[n])
	}
	return ""
}

// unitColumn makes column c the unit of the values in column v.
func (l *layout) unitColumn(v, c int) error {
	for i := l.first; i < len(l.head.lines); i++ {
		parts := l.row(i)
		if parts == nil {
			continue
		}
		u, ok := unitOf(string(parts[c]))
		if !ok {
			continue
		}
		ch := &l.channels[len(l.channels)-1]
		ch.unit, ch.dim = u.text, u.dim
		l.p.fields[v].unit, l.p.fields[v].dim = c, u.dim
		return nil
	}
	return nil
}

// raw finds channels that are counts of a converter and scales them. Counts
// without a scale are refused.
func (l *layout) raw() error {
	if err := l.meant(); err != nil {
		return err
	}
	for i := range l.channels {
		ch := &l.channels[i]
		if ch.time == -2 {
			ch.time = l.p.times[0]
		}
		f := &l.p.fields[ch.column]
		if scale, ok := l.opt.Scales[ch.name]; ok {
			if scale == 0 || math.IsInf(scale, 0) || math.IsNaN(scale) {
				return l.head.fault(-1, "give the value of one count, like 0.2", "channel %q: a count worth %g is none", ch.name, scale)
			}
			f.affine, f.gain, f.shift = true, scale, 0
			if u, ok := unitOf(ch.unit); ok {
				ch.dim = u.dim
			}
			if err := l.countAtZero(ch, f); err != nil {
				return err
			}
			continue
		}
		count, counted := l.header.find(countKeys)
		zero, zeroed := l.header.find(zeroKeys)
		scale, scaledBy := l.header.find(scaleKeys)
		_, told := l.opt.Units[ch.name]
		said := told || l.units[ch.column] != "" // of the values themselves, not of the vertical scale
		if !l.whole(ch.column) || !counted && !zeroed && !scaledBy || said && !counted {
			if _, ok := l.opt.Offsets[ch.name]; ok {
				return l.head.fault(-1, "give the value of one count, too, with --scale", "channel %q is not in counts: a count at zero means nothing", ch.name)
			}
			l.doubt(i, ch)
			continue
		}
		if !counted {
			line := zero
			if scaledBy {
				line = scale
			}
			hint := fmt.Sprintf("give the value of one count with --scale %q (and the count at zero with --zero)", ch.name+"=0.2")
			if ch.unit != "" {
				return l.head.fault(line.line-1, hint+fmt.Sprintf("; if they are %s as they stand, --unit %q", ch.unit, ch.name+"="+ch.unit),
					"channel %q has whole numbers only, which may be counts of a converter (the header has %q) or %s", ch.name, line.key, ch.unit)
			}
			return l.head.fault(line.line-1, hint,
				"channel %q holds counts of a converter (the header has %q), but nothing says what one count is worth", ch.name, line.key)
		}
		if err := l.counts(ch, f, count); err != nil {
			return err
		}
	}
	return nil
}

// meant refuses an option for a channel that is not there: it would be left
// out, and the numbers be wrong by it.
func (l *layout) meant() error {
	var names []string
	for _, ch := range l.channels {
		names = append(names, ch.name)
	}
	given := slices.Collect(maps.Keys(l.opt.Units))
	given = slices.AppendSeq(given, maps.Keys(l.opt.Scales))
	given = slices.AppendSeq(given, maps.Keys(l.opt.Offsets))
	slices.Sort(given)
	for _, name := range given {
		if !slices.Contains(names, name) {
			return l.head.fault(-1, "the channels are "+strings.Join(names, ", "), "there is no channel %q to give a unit or scale to", name)
		}
	}
	return nil
}

// counts scales raw counts by what the header says.
func (l *layout) counts(ch *channelPlan, f *field, count pair) error {
	gain, unitText, ok := count.number(l.mark)
	if !ok || gain == 0 {
		return l.head.fault(count.line-1, "give it with --scale", "%q is no value of a count", count.values[0])
	}
	if u, known := unitOf(unitText); known && unitText != "" {
		ch.unit, ch.dim = unitText, u.dim
		gain = scaled(gain, u.seconds())
	} else if u, known := unitOf(ch.unit); known {
		ch.dim = u.dim
		gain = scaled(gain, u.seconds())
	}
	f.affine, f.gain, f.shift = true, gain, 0
	return l.countAtZero(ch, f)
}

// countAtZero takes the count at 0 from the options, else from the header.
func (l *layout) countAtZero(ch *channelPlan, f *field) error {
	if given, ok := l.opt.Offsets[ch.name]; ok {
		f.zero = given
		return nil
	}
	f.zero = 0
	if zero, ok := l.header.find(zeroKeys); ok {
		if f.zero, _, ok = zero.number(l.mark); !ok {
			return l.head.fault(zero.line-1, "give it with --zero", "%q is no count", zero.values[0])
		}
		l.assume("%q of the header is the count at 0 of channel %q", zero.key, ch.name)
	}
	return nil
}

// doubt names what the file leaves open about a channel's scale.
func (l *layout) doubt(n int, ch *channelPlan) {
	if p, ok := l.header.find(probeKeys); ok && n < len(p.values) && strings.Trim(p.values[n], "xX×:") != "1" {
		l.assume("the header names %s %s: the values of channel %q are scaled by it already", p.key, p.values[n], ch.name)
	}
	if ch.unit == "" && ch.dim == quantity.One {
		l.assume("channel %q has no unit: its numbers are in SI units as they stand", ch.name)
	}
}

// whole reports that all numbers of column c in the sample are whole.
func (l *layout) whole(c int) bool {
	for i := l.first; i < len(l.head.lines); i++ {
		parts := l.row(i)
		if parts == nil {
			continue
		}
		if t := l.classify(parts[c]); t.kind == isNumber && t.exp != 0 {
			return false
		}
	}
	return true
}
