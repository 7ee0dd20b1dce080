package capture

import (
	"fmt"
	"strings"
)

// String gives the settings as a person reads them, one to a line, each with
// a line end. The same text is recorded with the capture.
func (s Settings) String() string {
	var b strings.Builder
	line := func(name, value string) {
		if value != "" {
			fmt.Fprintf(&b, "%s: %s\n", name, value)
		}
	}
	line("format", s.Format)
	line("compression", s.Compression)
	line("encoding", s.Encoding)
	line("line ends", s.LineEnd)
	line("delimiter", s.Delimiter)
	line("decimal mark", s.Decimal)
	if s.Format == "text" {
		line("header lines", fmt.Sprint(s.HeaderLines))
	}
	line("time", s.TimeFrom)
	line("time unit", s.TimeUnit)
	line("time 0", s.Origin)
	if s.Interval > 0 {
		line("interval", seconds(s.Interval))
	}
	line("recording", fmt.Sprint(s.Recording))
	if s.Envelope {
		line("lines", "pairs of least and greatest value")
	}
	for i, c := range s.Columns {
		text := c.Use
		if c.Name != "" {
			text = fmt.Sprintf("%q, %s", c.Name, c.Use)
		}
		if c.Unit != "" {
			text += ", " + c.Unit
		}
		if c.Shift != 0 {
			text += ", later by " + seconds(c.Shift)
		}
		line(fmt.Sprintf("column %d", i+1), text)
	}
	for _, signal := range s.Signals {
		line("signal", signal.String())
	}
	for _, a := range s.Assumed {
		line("assumed", a)
	}
	return b.String()
}
