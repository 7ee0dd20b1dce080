package capture

import (
	"bytes"
	"slices"
	"strings"
)

// header is what stands before the data, read.
type header struct {
	// names and units of the columns, "" where not given. named and measured
	// are their lines from 1, 0 where there is none.
	names, units    []string
	named, measured int
	// pairs are the "key, value" lines.
	pairs []pair
}

// pair is a line of a preamble.
type pair struct {
	key    string // lower case, without brackets and punctuation
	unit   string // from brackets behind the key
	values []string
	line   int
}

// The keys of preambles that mean something here, as instruments write them.
var (
	intervalKeys = []string{"sample interval", "sampling interval", "interval", "xinc", "x inc", "xincr", "x increment", "xincrement",
		"increment", "dt", "delta t", "delta time", "horizontal interval", "sampling period", "sample period", "time interval",
		"time increment", "x interval", "sampling time", "period"}
	rateKeys = []string{"sample rate", "sampling rate", "samplerate", "sampling frequency", "sample frequency", "fs", "samples per second",
		"abtastrate"}
	startKeys    = []string{"t0", "xorigin", "x origin", "xzero", "x zero", "start", "start time", "time origin", "first time", "time offset"}
	triggerKeys  = []string{"trigger point", "trigger sample", "trigger index", "trigger position in samples", "pre trigger samples"}
	timeUnitKeys = []string{"horizontal units", "horizontal unit", "x units", "x unit", "xunit", "xunits", "time unit", "time units", "x axis unit"}
	unitKeys     = []string{"vertical units", "vertical unit", "y units", "y unit", "yunit", "yunits", "unit", "units"}
	sourceKeys   = []string{"source", "channel", "trace", "waveform", "signal", "channel name"}
	countKeys    = []string{"ymult", "y mult", "yinc", "y inc", "yincrement", "y increment", "volts per count", "value per count", "scale per count", "volts per lsb", "lsb"}
	zeroKeys     = []string{"yzero", "y zero", "zero", "yref", "y ref", "yreference", "y reference", "count at zero", "yoff", "y offset", "yoffset"}
	scaleKeys    = []string{"vertical scale", "volts div", "volts per div", "volts per division", "v div", "v per div", "y scale", "yscale", "vertical offset", "adc bits", "bits", "resolution"}
	probeKeys    = []string{"probe", "probe ratio", "probe attenuation", "attenuation", "probe atten"}
)

// timeNames are names of columns that are times.
var timeNames = []string{"time", "t", "x", "x axis", "zeit", "second", "seconds", "timestamp", "time stamp", "date time", "datetime",
	"date and time", "date", "clock", "elapsed", "elapsed time", "relative time", "abs time", "absolute time"}

// counterNames are names of columns that count samples.
var counterNames = []string{"sample", "samples", "index", "no", "nr", "n", "#", "point", "points", "record", "row", "sample no", "sample number"}

// plainKey is a key as it is compared.
func plainKey(text string) string {
	return strings.Join(strings.FieldsFunc(strings.ToLower(text), func(r rune) bool {
		return strings.ContainsRune(" \t_-./:=\"'*;", r)
	}), " ")
}

// readHeader reads the lines before the data.
func (h *head) readHeader(d dialect) header {
	var r header
	i := d.first - 1
	for ; i >= 0; i-- {
		parts := h.fields(i, d)
		if len(parts) == 0 {
			continue
		}
		if r.measured == 0 && r.named == 0 && isUnits(parts, d.columns) {
			r.units, r.measured = fitted(parts, d.columns), i+1
			for k, u := range r.units {
				r.units[k] = bracketed(u)
			}
			continue
		}
		if isNames(parts, d.columns, r.measured > 0) {
			r.name(fitted(parts, d.columns), i+1)
		}
		break
	}
	for i := range d.first {
		if i+1 == r.named || i+1 == r.measured {
			continue
		}
		if p, ok := pairOf(h.fields(i, d)); ok {
			p.line = i + 1
			r.pairs = append(r.pairs, p)
		}
	}
	return r
}

// fields parts line i of the head; nothing for a blank one.
func (h *head) fields(i int, d dialect) []string {
	line := h.lines[i].text
	if len(trim(line)) == 0 {
		return nil
	}
	if isComment(line, d.delimiter) || line[0] == ';' || line[0] == '#' {
		line = bytes.TrimLeft(line, "#%!;/ ")
	}
	var out []string
	for _, part := range split(nil, line, d.delimiter) {
		out = append(out, h.text(part))
	}
	for len(out) > 0 && out[len(out)-1] == "" {
		out = out[:len(out)-1]
	}
	return out
}

// fitted gives exactly n fields.
func fitted(parts []string, n int) []string {
	out := make([]string, n)
	copy(out, parts)
	return out
}

// isUnits reports a row of units: as many as there are columns, all known.
func isUnits(parts []string, columns int) bool {
	if len(parts) > columns || len(parts) < columns-1 {
		return false
	}
	known := 0
	for _, part := range parts {
		if part == "" || part == "-" || part == "()" || part == "1" {
			continue
		}
		if _, ok := unitOf(bracketed(part)); !ok {
			return false
		}
		known++
	}
	return known > 0
}

// isNames reports a row of names. A line of two fields, a word and a number,
// is a line of a preamble, unless a row of units follows it.
func isNames(parts []string, columns int, units bool) bool {
	if len(parts) > columns || len(parts) < columns-1 || len(parts) == 0 {
		return false
	}
	words, numbers := 0, 0
	for _, part := range parts {
		switch classify([]byte(part), '.', true, 0).kind {
		case isText:
			words++
		case isNumber:
			numbers++
		}
	}
	if words == 0 || numbers > 0 && !units {
		return false
	}
	if known(plainKey(parts[0])) && len(parts) > 1 {
		return false
	}
	return columns > 1 || !strings.ContainsAny(parts[0], ":=")
}

// known reports a key of a preamble that says something about time or scale.
func known(key string) bool {
	for _, keys := range [][]string{intervalKeys, rateKeys, startKeys, triggerKeys, timeUnitKeys, countKeys, zeroKeys, scaleKeys, probeKeys} {
		if slices.Contains(keys, key) {
			return true
		}
	}
	return false
}

// name takes names with the units in them. A unit row stands above those.
func (r *header) name(parts []string, line int) {
	r.named = line
	if r.units == nil {
		r.units = make([]string, len(parts))
	}
	for i, part := range parts {
		name, unit := nameAndUnit(part)
		r.names = append(r.names, name)
		if r.units[i] == "" {
			r.units[i] = unit
		}
	}
}

// pairOf reads "key, value", "key: value" and "key = value".
func pairOf(parts []string) (pair, bool) {
	if len(parts) == 0 {
		return pair{}, false
	}
	key, values := parts[0], parts[1:]
	if len(values) == 0 || strings.Join(values, "") == "" {
		k := strings.IndexAny(key, ":=")
		if k <= 0 {
			return pair{}, false
		}
		key, values = key[:k], []string{strings.TrimSpace(key[k+1:])}
	}
	name, unit := nameAndUnit(strings.TrimRight(key, ":= "))
	p := pair{key: plainKey(name), unit: unit}
	for _, v := range values {
		if v != "" {
			p.values = append(p.values, v)
		}
	}
	return p, p.key != "" && len(p.values) > 0
}

// find gives the first pair with one of the keys.
func (r header) find(keys []string) (pair, bool) {
	for _, p := range r.pairs {
		if slices.Contains(keys, p.key) {
			return p, true
		}
	}
	return pair{}, false
}

// number reads a value like "5.0E-05", "50 µs" or a value and a unit apart.
// The unit is "" where none is given.
func (p pair) number(mark byte) (x float64, unit string, ok bool) {
	value := p.values[0]
	unit = p.unit
	if len(p.values) > 1 {
		if _, is := unitOf(bracketed(p.values[1])); is {
			unit = bracketed(p.values[1])
		}
	}
	for _, m := range []byte{mark, '.'} {
		if t, good := plainNumber([]byte(value), m, 0); good && t.kind == isNumber {
			return t.x, unit, true
		}
		cut := strings.TrimRight(value, "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZµμ°Ω/%\u2126")
		if t, good := plainNumber([]byte(strings.TrimSpace(cut)), m, 0); good && t.kind == isNumber && cut != value {
			return t.x, value[len(cut):], true
		}
	}
	return 0, "", false
}
