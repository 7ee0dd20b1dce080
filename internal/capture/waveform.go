package capture

import (
	"math"
	"sort"

	"hvproof/internal/quantity"
)

// Importer is the version of reader and analysis. It goes up whenever any file
// could be read to other numbers, or give other features or findings, than with
// a version that has signed records: those of another version are not held
// against what this one finds.
const Importer = "1"

// Waveform is one recording: some channels over time, in SI units.
type Waveform struct {
	Channels []Channel
	// Detected is how the file was read.
	Detected Settings
	// Notes are the oddities of the file, in its order.
	Notes []Note
	// Skipped are the lines between the data that were not read, at most
	// the first hundred; SkippedLines counts them all.
	Skipped      []LineNote
	SkippedLines int
	// Recordings are all recordings of the file, of which this is number
	// Detected.Recording.
	Recordings []Recording
	// SHA256 is the digest of the file's bytes as they came (still
	// compressed, where they were).
	SHA256 [32]byte
	// Importer is the version of the reader that read the file.
	Importer string
}

// Channel is one signal. V, Half and Axis have the same length.
type Channel struct {
	// Name is as in the file, without the unit; "column 2" or "CH1" where
	// the file gives none.
	Name string
	// Unit is as written in the file, "" if none is given; V is in SI units
	// of Dim all the same. Without a unit Dim is One, and V as written.
	Unit string
	Dim  quantity.Dim
	// Axis gives the times of the samples; channels that were sampled
	// together share one.
	Axis *Axis
	// V are the values, NaN where the signal was clipped or is missing.
	V []float64
	// Half is the half width of the envelope where the file gives the least
	// and the greatest value of each interval; nil otherwise.
	Half []float64
	// Digit is the step of the last decimal written, in SI units, an upper
	// bound of what the file resolves; 0 if not known.
	Digit float64
	// Clipped are the samples of which only a bound is known; Missing those
	// of which nothing is. Both ascend and do not overlap.
	Clipped []Span
	Missing []Span
}

// Span is a run of samples, From ≤ i < To, that are no numbers.
type Span struct {
	From, To int
	// Side says on which side of Limit the signal was; quantity.Exact means
	// that it was out of range on a side that the file does not tell.
	Side quantity.Side
	// Limit is the bound in SI units, NaN where the file gives none.
	Limit float64
	// Text is the marker as written, of the first sample.
	Text string
}

// Axis is a time axis in seconds that never runs backwards. It is either
// regular (Times is nil: sample i is at Start + i·Step) or given by Times.
type Axis struct {
	Start, Step float64
	Times       []float64
	// N is the number of samples.
	N int
	// Digit is the step of the last decimal written, s: how finely the file
	// tells time. 0 if the time comes from an interval in the header.
	Digit float64
}

// Len is the number of samples.
func (a *Axis) Len() int { return a.N }

// Regular reports that all steps are the same.
func (a *Axis) Regular() bool { return a.Times == nil }

// At gives the time of sample i, s.
func (a *Axis) At(i int) float64 {
	if a.Times != nil {
		return a.Times[i]
	}
	return a.Start + float64(i)*a.Step
}

// End gives the time of the last sample, NaN if there is none.
func (a *Axis) End() float64 {
	if a.N == 0 {
		return math.NaN()
	}
	return a.At(a.N - 1)
}

// Index gives the first sample at or after t, N if there is none.
func (a *Axis) Index(t float64) int {
	return sort.Search(a.N, func(i int) bool { return a.At(i) >= t })
}

// Interval gives the mean time between samples, s; NaN below two samples.
func (a *Axis) Interval() float64 {
	if a.N < 2 {
		return math.NaN()
	}
	return (a.At(a.N-1) - a.At(0)) / float64(a.N-1)
}

// LineNote is a line that was not read.
type LineNote struct {
	// Line counts from 1.
	Line int64
	// Text is the line, cut to 80 characters; Why says why it was not read.
	Text, Why string
}

// Note is an oddity of the file: Code is one of the Note constants, Sentence
// says it in full, Line is where it first shows (0: the file as a whole).
type Note struct {
	Code     string
	Sentence string
	Line     int64
}

// The codes of notes.
const (
	NoteCutShort       = "cut-short"       // the file ends inside a line
	NoteGap            = "gap"             // samples are missing in a regular series
	NoteBackwards      = "time-backwards"  // the time jumps back: a new recording begins
	NoteRecordings     = "recordings"      // the file holds several recordings
	NoteRepeatedHeader = "repeated-header" // the header stands again between the data
	NoteEnvelope       = "envelope"        // pairs of least and greatest value
	NoteCoarseTime     = "coarse-time"     // several samples share a written time
	NoteClipped        = "clipped"         // a channel was out of range
	NoteOffset         = "offset"          // channels were sampled one after the other
	NoteMissing        = "missing"         // values are missing
	NoteMidnight       = "midnight"        // a clock without date passed midnight
	NoteAssumed        = "assumed"         // something the file does not say was assumed
	NoteTrailer        = "trailer"         // lines after the last row
	NoteErrorFrames    = "error-frames"    // a CAN log has error frames
	NoteShort          = "short"           // fewer than 20 samples
)

// Recording is a part of a file in which time runs forward.
type Recording struct {
	// FirstLine and LastLine are its lines, from 1.
	FirstLine, LastLine int64
	// Samples counts its rows; Start and End are its first and last time, s.
	Samples    int
	Start, End float64
}
