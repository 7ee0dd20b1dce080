package capture

import (
	"fmt"
	"math"
	"strings"

	"hvproof/internal/quantity"
)

// fewSamples is below how many samples a recording is called short.
const fewSamples = 20

// mostRecordings is how many recordings a file may hold; beyond it the column
// is no time.
const mostRecordings = 1000

// finish makes the waveform of the table.
func (t *table) finish() (*Waveform, error) {
	for c := range t.parts {
		if t.even[c] = t.parts[c].evenly(); t.even[c] == nil {
			t.columns[c] = t.parts[c].join()
		}
	}
	t.end()
	if t.rows == 0 {
		return nil, t.fault(int64(t.l.first), "", "there is no whole row of numbers", "is the file cut short?")
	}
	from, to, err := t.recording()
	if err != nil {
		return nil, err
	}
	w := &Waveform{Importer: Importer}
	if err := t.axes(w, from, to); err != nil {
		return nil, err
	}
	t.values(w, from)
	if n := w.Channels[0].Axis.N; n < fewSamples {
		t.note(NoteShort, -1, "only %s", plural(n, "sample"))
	}
	w.Notes, w.Skipped, w.SkippedLines = t.notes, t.skipped, t.nskip
	w.Recordings = t.recordings
	for _, s := range t.l.set.Assumed {
		w.Notes = append(w.Notes, Note{Code: NoteAssumed, Sentence: s})
	}
	if t.l.set.Interval = w.Channels[0].Axis.Step; t.l.set.Interval == 0 {
		t.l.set.Interval, _ = steps(w.Channels[0].Axis.Times)
	}
	w.Detected = *t.l.set
	return w, nil
}

// recording finds the recordings of the file and gives the rows of the one
// that is wanted.
func (t *table) recording() (from, to int, err error) {
	cuts := []int{0}
	if len(t.l.p.times) > 0 && t.even[t.l.p.times[0]] == nil {
		rows, midnights := restarts(t.columns[t.l.p.times[0]], t.l.undated)
		cuts = append(cuts, rows...)
		if midnights > 0 {
			t.note(NoteMidnight, -1, "the clock has no date and passes midnight: taken as the next day")
		}
	}
	if len(cuts) > mostRecordings {
		return 0, 0, t.fault(t.line(cuts[1]), "", fmt.Sprintf("the time runs backwards here, and at %d places besides", len(cuts)-2),
			"if this column is no time, say which is with --time-column, or --no-time")
	}
	cuts = append(cuts, t.rows)
	for i := range len(cuts) - 1 {
		r := Recording{FirstLine: t.line(cuts[i]) + 1, LastLine: t.line(cuts[i+1]-1) + 1, Samples: cuts[i+1] - cuts[i]}
		r.Start, r.End = t.time(cuts[i]), t.time(cuts[i+1]-1)
		t.recordings = append(t.recordings, r)
	}
	want, n := t.l.opt.Recording, len(t.recordings)
	if want == 0 && n > 1 {
		second := t.recordings[1].FirstLine
		return 0, 0, t.fault(second-1, "",
			fmt.Sprintf("the time runs backwards here, from %s to %s: the file holds %d recordings (%s)",
				seconds(t.recordings[0].End), seconds(t.recordings[1].Start), n, listed(t.recordings)),
			"say which one with --recording 1, 2, …")
	}
	want = max(want, 1)
	if want > n {
		return 0, 0, t.fault(int64(t.l.first), "", fmt.Sprintf("there is no recording %d, the file holds %d (%s)", want, n, listed(t.recordings)), "")
	}
	if n > 1 {
		t.note(NoteRecordings, t.recordings[want-1].FirstLine-1, "the file holds %d recordings; this is number %d (lines %d to %d)",
			n, want, t.recordings[want-1].FirstLine, t.recordings[want-1].LastLine)
	}
	t.l.set.Recording = want
	return cuts[want-1], cuts[want], nil
}

// listed names recordings by their lines, the first five of them.
func listed(all []Recording) string {
	var s []string
	for i, r := range all {
		if i == 5 {
			s = append(s, "…")
			break
		}
		s = append(s, fmt.Sprintf("%d: lines %d to %d", i+1, r.FirstLine, r.LastLine))
	}
	return strings.Join(s, "; ")
}

// time gives the time of a row of the file.
func (t *table) time(row int) float64 {
	if len(t.l.p.times) > 0 {
		if even := t.even[t.l.p.times[0]]; even != nil {
			return even.at(row)
		}
		return t.columns[t.l.p.times[0]][row]
	}
	return t.l.start + float64(row)*t.l.interval
}

// axes makes the time axes of rows from to to, and with them the channels.
func (t *table) axes(w *Waveform, from, to int) error {
	for c := range t.columns {
		if t.even[c] == nil {
			t.columns[c] = t.columns[c][from:to:to]
		}
	}
	t.half = make([][]float64, len(t.columns))
	axes := map[int]*Axis{}
	if len(t.l.p.times) == 0 {
		axes[-1] = &Axis{Start: t.l.start, Step: t.l.interval, N: to - from}
	} else if t.envelope() {
		t.fold(from)
	}
	for i, c := range t.l.p.times {
		axis, err := t.axis(c, from, to, i == 0)
		if err != nil {
			return err
		}
		axes[c] = axis
	}
	for _, plan := range t.l.channels {
		ch := Channel{Name: plan.name, Unit: plan.unit, Dim: plan.dim, Axis: axes[plan.time]}
		f := t.l.p.fields[plan.column]
		ch.Digit = power(t.digit[plan.value])
		if f.affine {
			ch.Digit *= math.Abs(f.gain)
		}
		w.Channels = append(w.Channels, ch)
	}
	t.shifts(w)
	if a := w.Channels[0].Axis; len(t.l.p.times) > 0 {
		return t.l.agree(a.Interval())
	}
	return nil
}

// axis makes one axis of column c.
func (t *table) axis(c, from, to int, noted bool) (*Axis, error) {
	times := t.columns[c]
	if even := t.even[c]; even != nil { // nothing is repeated, or left out
		return &Axis{Start: even.at(from), Step: float64(even.step) / tens[-even.exp], N: to - from, Digit: power(t.digit[c])}, nil
	}
	f := t.l.p.fields[t.l.times[0]]
	digit := power(t.digit[c])
	if f.affine {
		digit *= f.gain
	}
	if t.l.clock {
		digit = t.l.clockDigit
	}
	a := &Axis{N: len(times), Digit: digit}
	for i := 1; i < len(times); i++ {
		if times[i] < times[i-1] {
			return nil, t.fault(t.line(from+i), "", "the time of a channel runs backwards here, that of the first channel does not", "export the channels one by one")
		}
	}
	if start, step, ok := regular(times, digit); ok {
		a.Start, a.Step = start, step
	} else {
		a.Times = times
	}
	if !noted || a.Times == nil && a.Step > 2*digit {
		return a, nil // evenly spaced: nothing is repeated or left out
	}
	if n := repeated(times); n > 0 {
		what := "their times are kept as written"
		if a.Times == nil {
			what = "they are taken as evenly spaced"
		}
		t.note(NoteCoarseTime, -1, "%d of the samples have the time of the one before, which is written in steps of %s: %s", n, seconds(digit), what)
	}
	if found, longest, first, usual := gaps(times, digit); found > 0 {
		t.note(NoteGap, t.line(from+t.unfold(first.row)), "%s in the record, the longest of %s (usual: %s) before line %d", plural(found, "gap"),
			seconds(longest.by), seconds(usual), t.line(from+t.unfold(longest.row))+1)
	}
	return a, nil
}

// shifts records how far apart channels with times of their own were sampled.
func (t *table) shifts(w *Waveform) {
	if len(t.l.p.times) < 2 {
		return
	}
	for i, plan := range t.l.channels {
		shift := w.Channels[i].Axis.At(0) - w.Channels[0].Axis.At(0)
		t.l.set.Columns[plan.column].Shift = shift
		if i > 0 {
			t.note(NoteOffset, -1, "channel %q was sampled %s after channel %q", plan.name, seconds(shift), w.Channels[0].Name)
		}
	}
}

// values gives the channels their values and what is no number.
func (t *table) values(w *Waveform, from int) {
	for i, plan := range t.l.channels {
		ch := &w.Channels[i]
		ch.V, ch.Half = t.columns[plan.value], t.half[plan.value]
		fold := 1
		if t.l.set.Envelope {
			fold = 2
		}
		for _, s := range t.spans[plan.value] {
			s.From, s.To = max(0, (s.From-from)/fold), min(ch.Axis.N, (s.To-from+fold-1)/fold)
			if s.From >= s.To || s.To <= 0 {
				continue
			}
			into := &ch.Clipped
			if s.Side == sideMissing {
				into, s.Side = &ch.Missing, quantity.Exact
			}
			*into = joined(*into, s)
		}
		t.spanNotes(ch, from)
	}
}

// joined appends a span that may overlap the last one, as those of a folded
// pair do.
func joined(all []Span, s Span) []Span {
	if n := len(all); n > 0 && s.From < all[n-1].To {
		s.From = all[n-1].To
		if s.From >= s.To {
			return all
		}
	}
	return append(all, s)
}

// spanNotes says in words where a channel is no number.
func (t *table) spanNotes(ch *Channel, from int) {
	count := func(all []Span) (n int) {
		for _, s := range all {
			n += s.To - s.From
		}
		return n
	}
	if n := count(ch.Clipped); n > 0 {
		first, last := ch.Clipped[0], ch.Clipped[len(ch.Clipped)-1]
		t.note(NoteClipped, t.line(from+t.unfold(first.From)), "channel %q is out of range (%q) from %s to %s, %s", ch.Name, first.Text,
			seconds(ch.Axis.At(first.From)), seconds(ch.Axis.At(last.To-1)), plural(n, "sample"))
	}
	if n := count(ch.Missing); n > 0 {
		t.note(NoteMissing, t.line(from+t.unfold(ch.Missing[0].From)), "channel %q: %s missing, the first at %s", ch.Name, plural(n, "value"),
			seconds(ch.Axis.At(ch.Missing[0].From)))
	}
}

// envelope reports that rows are pairs of least and greatest value.
func (t *table) envelope() bool {
	if t.l.opt.Samples || len(t.l.p.times) != 1 || t.even[t.l.p.times[0]] != nil || !paired(t.columns[t.l.p.times[0]]) {
		return false
	}
	for _, plan := range t.l.channels {
		if !ordered(t.columns[plan.value]) {
			return false
		}
	}
	return true
}

// fold makes one sample of each pair: the middle, and half the width.
func (t *table) fold(from int) {
	t.l.set.Envelope = true
	times := t.columns[t.l.p.times[0]]
	n := len(times) / 2
	odd := ""
	if len(times)%2 == 1 {
		odd = "; the last line has no partner and is not read"
	}
	t.note(NoteEnvelope, t.line(from), "two lines to each time: the least and the greatest value, kept as middle and half width%s", odd)
	for i := range n {
		times[i] = times[2*i]
	}
	t.columns[t.l.p.times[0]] = times[:n]
	for _, plan := range t.l.channels {
		v := t.columns[plan.value]
		half := make([]float64, n)
		for i := range n {
			a, b := v[2*i], v[2*i+1]
			v[i], half[i] = a+(b-a)/2, math.Abs(b-a)/2
		}
		t.columns[plan.value], t.half[plan.value] = v[:n], half
	}
}

// unfold gives the row of a sample.
func (t *table) unfold(i int) int {
	if t.l.set.Envelope {
		return 2 * i
	}
	return i
}

// plural gives "1 sample", "2 samples".
func plural(n int, word string) string {
	if n == 1 {
		return "1 " + word
	}
	return fmt.Sprintf("%d %ss", n, word)
}
