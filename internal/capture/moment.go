package capture

import (
	"bytes"
	"time"
)

// day is the length of a day in nanoseconds.
const day = int64(24 * time.Hour)

// parseMoment reads "2027-03-20 10:02:11.125" (also with T, a comma, Z at the
// end), "2027-03-20", "2027/03/20", "20.03.2027", or a time of day alone. It
// gives nanoseconds since 1970 without a zone, or since midnight where there
// is no date. A date of two slashes that begins with the day or the month is
// not read: nobody can tell which.
func parseMoment(field []byte) (ns int64, dated, ok bool) {
	if len(field) < 8 || len(field) > 40 {
		return 0, false, false
	}
	rest := field
	if days, n := parseDate(rest); n > 0 {
		ns, dated = days*day, true
		if n == len(field) {
			return ns, true, true
		}
		if c := field[n]; c != ' ' && c != 'T' && c != '_' {
			return 0, false, false
		}
		rest = bytes.TrimLeft(field[n+1:], " ")
	}
	clock, ok := parseClock(rest)
	return ns + clock, dated, ok
}

// parseDate gives days since 1970 and the length of the date, 0 if none.
func parseDate(b []byte) (days int64, length int) {
	if len(b) < 10 {
		return 0, 0
	}
	y, m, d := 0, 0, 0
	var ok1, ok2, ok3 bool
	switch {
	case (b[4] == '-' || b[4] == '/') && b[7] == b[4]:
		y, ok1 = digits(b[:4])
		m, ok2 = digits(b[5:7])
		d, ok3 = digits(b[8:10])
	case b[2] == '.' && b[5] == '.':
		d, ok1 = digits(b[:2])
		m, ok2 = digits(b[3:5])
		y, ok3 = digits(b[6:10])
	}
	if !ok1 || !ok2 || !ok3 || y < 1970 || y > 2200 || m < 1 || m > 12 || d < 1 || d > 31 {
		return 0, 0
	}
	at := time.Date(y, time.Month(m), d, 0, 0, 0, 0, time.UTC)
	if at.Day() != d {
		return 0, 0
	}
	return at.Unix() / 86400, 10
}

// parseClock reads HH:MM:SS with a fraction after a point, comma or colon.
func parseClock(b []byte) (ns int64, ok bool) {
	b = bytes.TrimSuffix(b, []byte("Z"))
	if len(b) < 8 || b[2] != ':' || b[5] != ':' {
		return 0, false
	}
	h, ok1 := digits(b[:2])
	m, ok2 := digits(b[3:5])
	s, ok3 := digits(b[6:8])
	if !ok1 || !ok2 || !ok3 || h > 23 || m > 59 || s > 60 {
		return 0, false
	}
	ns = int64(h*3600+m*60+s) * int64(time.Second)
	if len(b) == 8 {
		return ns, true
	}
	if c := b[8]; c != '.' && c != ',' && c != ':' || len(b) == 9 {
		return 0, false
	}
	unit := int64(time.Second)
	for _, c := range b[9:] {
		if c < '0' || c > '9' {
			return 0, false
		}
		unit /= 10
		ns += int64(c-'0') * unit
	}
	return ns, true
}

// digits reads a few digits.
func digits(b []byte) (n int, ok bool) {
	for _, c := range b {
		if c < '0' || c > '9' {
			return 0, false
		}
		n = n*10 + int(c-'0')
	}
	return n, true
}
