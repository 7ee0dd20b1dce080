package capture

import (
	"fmt"
	"strings"

	"hvproof/internal/quantity"
)

// noTimeUnit is what is assumed where no unit of time is given.
const noTimeUnit = "the file gives no unit of time: seconds"

// readInterval takes the sample interval from the options or the header.
func (l *layout) readInterval() error {
	if l.opt.Interval != 0 {
		if l.opt.Interval < 0 {
			return l.head.fault(-1, "a time in seconds above 0", "an interval of %g s is none", l.opt.Interval)
		}
		l.interval, l.start, l.set.TimeFrom, l.set.TimeUnit = l.opt.Interval, l.opt.Start, "option", "s"
		return nil
	}
	scale, unit := 1.0, ""
	p, ok := l.header.find(intervalKeys)
	if ok {
		x, u, good := p.number(l.mark)
		if !good || x <= 0 {
			return l.head.fault(p.line-1, "give it with --interval", "%q is no sample interval", p.values[0])
		}
		var err error
		if scale, unit, err = l.timeUnit(p, u); err != nil {
			return err
		}
		l.interval, l.declaredLine = scaled(x, scale), p.line
	} else if p, ok = l.header.find(rateKeys); ok {
		x, u, good := p.number(l.mark)
		if !good || x <= 0 {
			return l.head.fault(p.line-1, "give the interval with --interval", "%q is no sample rate", p.values[0])
		}
		x, good = perSecond(x, u)
		if !good {
			return l.head.fault(p.line-1, "give the interval with --interval", "%q is no unit of a sample rate", u)
		}
		l.interval, l.declaredLine, unit = 1/x, p.line, "s"
	} else {
		return nil
	}
	l.set.TimeFrom, l.set.TimeUnit = "interval in the header", unit
	if p, ok := l.header.find(startKeys); ok {
		if x, u, good := p.number(l.mark); good {
			if u != "" {
				var err error
				if scale, _, err = l.timeUnit(p, u); err != nil {
					return err
				}
			}
			l.start = scaled(x, scale)
			return nil
		}
	}
	if p, ok := l.header.find(triggerKeys); ok {
		if x, _, good := p.number(l.mark); good && x >= 0 {
			l.start = -x * l.interval
		}
	}
	return nil
}

// scaled is x·scale; for a scale below 1 it divides, which rounds once.
func scaled(x, scale float64) float64 {
	for _, t := range tens {
		if 1/t == scale {
			return x / t
		}
	}
	return x * scale
}

// perSecond gives a rate in 1/s.
func perSecond(x float64, unit string) (float64, bool) {
	switch strings.ToLower(strings.TrimSpace(unit)) {
	case "", "hz", "sa/s", "s/s", "1/s", "samples/s", "sps":
		return x, true
	case "khz", "ksa/s", "ks/s", "ksps":
		return x * 1e3, true
	case "mhz", "msa/s", "ms/s", "msps":
		return x * 1e6, true
	case "ghz", "gsa/s", "gs/s", "gsps":
		return x * 1e9, true
	}
	return 0, false
}

// timeUnit gives the seconds of one unit of a header's time: the option's,
// its own, or that of the header; else seconds are assumed.
func (l *layout) timeUnit(p pair, own string) (scale float64, name string, err error) {
	switch {
	case l.opt.TimeUnit != "":
		name = l.opt.TimeUnit
	case own != "":
		name = own
	default:
		if q, ok := l.header.find(timeUnitKeys); ok {
			name = bracketed(q.values[0])
		}
	}
	if name == "" {
		l.assume(noTimeUnit)
		return 1, "s", nil
	}
	u, ok := unitOf(name)
	if !ok || u.dim != quantity.Second {
		return 0, "", l.head.fault(p.line-1, "one of s, ms, µs, ns, min, h; --time-unit says which", "%q is no unit of time", name)
	}
	return u.seconds(), u.text, nil
}

// seconds is the length of a unit of time.
func (u unit) seconds() float64 {
	switch {
	case u.affine:
		return u.gain
	case u.shift < 0:
		return 1 / tens[-u.shift]
	}
	return tens[u.shift]
}

// needInterval asks for the interval where there is no time column.
func (l *layout) needInterval() error {
	if l.interval > 0 {
		return nil
	}
	return l.head.fault(max(l.header.named-1, 0), "say which column is the time with --time-column, or the time between samples with --interval",
		"no column is a time by its name or unit, and the header gives no sample interval")
}

// timeColumn sets the unit of time column c.
func (l *layout) timeColumn(c int, f *field) error {
	if l.set.TimeFrom == "" || len(l.p.times) == 1 {
		l.set.TimeFrom = "column " + strings.TrimPrefix(l.title(c), "column ")
	} else {
		l.set.TimeFrom += ", " + strings.TrimPrefix(l.title(c), "column ")
	}
	if l.clock {
		f.use, l.set.TimeUnit, l.set.TimeFrom = asMoment, "clock", "clock, "+l.set.TimeFrom
		return nil
	}
	name := l.units[c]
	if l.opt.TimeUnit != "" {
		name = l.opt.TimeUnit
	}
	if _, ok := unitOf(name); !ok && name == "" {
		if q, ok := l.header.find(timeUnitKeys); ok {
			name = bracketed(q.values[0])
		} else if u, ok := unitOf(l.names[c]); ok && u.dim == quantity.Second && len(l.names[c]) > 1 {
			name = u.text
		}
	}
	if name == "" {
		name = "s"
		l.assume(noTimeUnit)
	}
	u, ok := unitOf(name)
	if !ok || u.dim != quantity.Second {
		return l.head.fault(max(l.header.named-1, 0), "one of s, ms, µs, ns, min, h; --time-unit says which", "%q is no unit of time", name)
	}
	f.shift, f.affine, f.gain = u.shift, u.affine, u.gain
	l.set.TimeUnit = u.text
	return nil
}

// agree holds the interval that the header states against the time column.
func (l *layout) agree(measured float64) error {
	if l.declared == 0 || measured <= 0 || l.clock {
		return nil
	}
	ratio := measured / l.declared
	if ratio > 0.9 && ratio < 1.1 || ratio > 1.8 && ratio < 2.2 || ratio > 0.45 && ratio < 0.55 {
		return nil // two and a half: pairs, or a point left out
	}
	if l.opt.TimeUnit != "" || len(l.times) == 0 {
		l.set.Assumed = append(l.set.Assumed, fmt.Sprintf("the header states %s between samples, the time column %s: the column is right",
			seconds(l.declared), seconds(measured)))
		return nil
	}
	return l.head.fault(l.declaredLine-1, "if the time column is in another unit, say so with --time-unit; if it is no time, with --no-time",
		"the header states %s between samples, the time column %s", seconds(l.declared), seconds(measured))
}

// seconds prints a time.
func seconds(t float64) string {
	return quantity.Value{SI: t, Dim: quantity.Second}.String()
}
