package capture

import "hvproof/internal/can"

// Options are what the file does not say, or what overrides what it says.
// The zero value detects everything.
type Options struct {
	// Name is the file's name, for errors.
	Name string
	// Delimiter is what stands between values: ",", ";", "tab", "space" or
	// "|". "" detects it.
	Delimiter string
	// Decimal is the decimal mark, "." or ",". "" detects it.
	Decimal string
	// TimeUnit is the unit of the time column or of the interval in the
	// header: "s", "ms", "µs", "ns", "min" or "h". "" takes it from the file.
	TimeUnit string
	// TimeColumn is the name or number (from 1) of the time column. ""
	// takes the column that is a time by its name or unit.
	TimeColumn string
	// NoTime says that no column is a time: the interval comes from the
	// header or from Interval.
	NoTime bool
	// Interval is the time between samples, s, of a file without times.
	Interval float64
	// Start is the time of the first sample, s, where Interval is given.
	Start float64
	// Units gives units to channels, by name: {"CH1": "V"}. They override
	// the file's.
	Units map[string]string
	// Scales gives the value of one count of raw channels, by name, in SI
	// units, and Offsets the count at zero.
	Scales, Offsets map[string]float64
	// Recording is the number of the recording to take, from 1, of a file
	// that holds several. 0 takes the only one, and asks if there are more.
	Recording int
	// Samples says that two samples of one time are samples, not the least
	// and the greatest value of an interval.
	Samples bool
	// Signals are taken out of a CAN log.
	Signals []can.Signal
	// Workers is the number of parsers at work, 0 for one per processor.
	Workers int
	// MaxValues limits the numbers kept, 0 for 500 million (4 GB).
	MaxValues int64
	// Digest gives the SHA-256 of the file where it is known, so that it is
	// not computed again.
	Digest *[32]byte
	// Progress, if not nil, is called now and then from Read's goroutine
	// with the bytes of the file read so far.
	Progress func(bytes int64)
}

// Settings is how a file was read: what was given, found or assumed.
type Settings struct {
	// Format is "text" or "candump".
	Format string
	// Compression is "gzip" or "".
	Compression string
	// Encoding is "UTF-8", "UTF-8 with BOM", "UTF-16 LE", "UTF-16 BE" or
	// "Windows-1252"; LineEnd "LF", "CRLF" or "CR".
	Encoding, LineEnd string
	// Delimiter and Decimal are as in Options.
	Delimiter, Decimal string
	// HeaderLines is the number of lines before the data.
	HeaderLines int
	// TimeUnit is the unit of time in the file ("s", "ms", …, "clock").
	// TimeFrom says where times come from: `column "Time"`, "interval in the
	// header", "clock", "option".
	TimeUnit, TimeFrom string
	// Origin is the wall clock at time 0 as written, "" for relative times.
	Origin string
	// Interval is the usual time between samples, s.
	Interval float64
	// Recording is the recording read, from 1, of Recordings.
	Recording int
	// Envelope says that rows come in pairs of least and greatest value.
	Envelope bool
	// Columns says what was made of every column, in the file's order.
	Columns []Column
	// Signals are those taken out of a CAN log.
	Signals []can.Signal
	// Assumed lists, in sentences, what the file does not say and no option
	// gave. A person should be asked to confirm each.
	Assumed []string
}

// Column is what was made of one column of the file.
type Column struct {
	// Name and Unit as in the file; Use is "time", "channel", "clock",
	// "unit", "not read".
	Name, Unit, Use string
	// Shift is the time of the column's samples after those of the first
	// channel, s, where each channel has times of its own.
	Shift float64
}
