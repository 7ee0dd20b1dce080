package capture

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"hvproof/internal/can"
	"hvproof/internal/diag"
)

// isCandump reports whether the first line is one of a candump log.
func isCandump(head []byte) bool {
	for line := range bytes.Lines(head) {
		if line = content(line); len(line) > 0 {
			var f can.Frame
			return f.Parse(line)
		}
	}
	return false
}

// canLog is a log as it is being read.
type canLog struct {
	opt     Options
	size    int64 // about how many bytes there are, 0 if not known
	read    int64 // bytes so far
	lines   int64
	origin  int64
	frames  int64
	digits  int
	waiting int64 // line of something that is no frame, from 1
	said    string
	signals []canSignal
	clocks  []*canClock
	kept    int64          // numbers
	last    int64          // time of the last frame of any signal
	starts  []canStart     // recordings
	ids     map[uint32]int // frames by identifier, to say what there is
	lengths map[uint32]int // and their length
	odd     map[string]int // frames that hold no data
	notes   []Note
	absent  []string // signals of which there is no frame
	short   bool     // the file ends inside a line
}

// canSignal is one signal's samples.
type canSignal struct {
	can.Signal
	*canClock
	v       column
	missing []Span
}

// canClock is the times of the frames of one identifier, which all signals in
// them share.
type canClock struct {
	of    can.Signal // one of them
	times column
	last  int64
	axis  *Axis
}

// canStart is where a recording begins: a line, and a sample of each signal.
type canStart struct {
	line int64
	from []int
}

// readCAN reads the signals of the options out of a candump log.
func (s *source) readCAN(opt Options) (*Waveform, error) {
	s.set.Format, s.set.TimeUnit, s.set.TimeFrom = "candump", "s", "the log's clock"
	g := &canLog{opt: opt, size: s.size, ids: map[uint32]int{}, lengths: map[uint32]int{}, odd: map[string]int{}}
	for _, sig := range opt.Signals {
		if err := sig.Check(); err != nil {
			return nil, err
		}
		g.signals = append(g.signals, canSignal{Signal: sig, canClock: g.clock(sig)})
	}
	err := stream(s.rest(), 1, func(*block) {}, func(k *block) error {
		if opt.Progress != nil {
			opt.Progress(s.bytes.n.Load())
		}
		return g.take(k)
	})
	var known *diag.Error
	switch {
	case errors.Is(err, errLongLine):
		return nil, g.fault(g.lines+1, "is this a candump log?", "a line of more than 250,000 characters")
	case errors.As(err, &known):
		return nil, err
	case err != nil:
		return nil, s.failed(opt, err)
	}
	return g.finish(s)
}

// clock gives the times that a signal shares with others.
func (g *canLog) clock(sig can.Signal) *canClock {
	for _, c := range g.clocks {
		if c.of.ID == sig.ID && c.of.Extended == sig.Extended && c.of.Interface == sig.Interface {
			return c
		}
	}
	g.clocks = append(g.clocks, &canClock{of: sig})
	return g.clocks[len(g.clocks)-1]
}

// fault is an error at a line, from 1.
func (g *canLog) fault(line int64, hint, format string, a ...any) error {
	return bad(diag.Problem{Place: diag.Place{File: g.opt.name(), Line: int(line)}, Message: fmt.Sprintf(format, a...), Hint: hint})
}

// take reads a block of lines.
func (g *canLog) take(k *block) error {
	text := k.data[:k.size]
	g.read += int64(k.size)
	for line := range bytes.Lines(text) {
		g.lines++
		last := k.cut && len(line) > 0 && &line[len(line)-1] == &text[len(text)-1]
		if line = content(line); len(line) == 0 {
			continue
		}
		var f can.Frame
		if !f.Parse(line) || last {
			// A last line without an end may have lost bytes that nobody
			// would miss.
			if g.short = g.short || last; g.waiting == 0 {
				g.waiting, g.said = g.lines, strings.ToValidUTF8(short(line), "\ufffd")
			}
			continue
		}
		if g.waiting > 0 {
			return g.fault(g.waiting, "cut it out; a log is written by candump -l or -L", "%q is no frame, between frames", g.said)
		}
		if err := g.add(&f); err != nil {
			return err
		}
	}
	if g.size > 0 && g.kept > 0 {
		g.reserve()
	}
	return nil
}

// reserve makes room for all samples, by those of the first bytes that held
// any.
func (g *canLog) reserve() {
	for i := range g.signals {
		g.signals[i].v.grow(g.size, g.read)
	}
	for _, c := range g.clocks {
		c.times.grow(g.size, g.read)
	}
	g.size = 0
}

// add gives a frame to its signals.
func (g *canLog) add(f *can.Frame) error {
	if g.frames++; g.frames == 1 {
		g.origin = f.Nanoseconds
	}
	g.digits = max(g.digits, f.Digits)
	switch {
	case f.Failure:
		g.odd["error"]++
		return nil
	case f.Remote:
		g.odd["remote"]++
		return nil
	}
	if len(g.ids) < 1000 || g.ids[f.ID] > 0 {
		g.ids[f.ID]++
		g.lengths[f.ID] = f.Length
	}
	wanted, back := false, false
	for _, c := range g.clocks {
		if c.of.In(f) {
			wanted = true
			back = back || c.times.n > 0 && f.Nanoseconds < c.last
		}
	}
	if !wanted {
		return nil
	}
	// Frames of two buses may be a little out of order; a log that was
	// appended to goes back further.
	if len(g.starts) == 0 || back || f.Nanoseconds < g.last-1e9 {
		if len(g.starts) == mostRecordings {
			return g.fault(g.lines, "is this one log?", "the time runs backwards for the %dth time", len(g.starts))
		}
		start := canStart{line: g.lines}
		for i := range g.signals {
			start.from = append(start.from, g.signals[i].v.n)
		}
		g.starts = append(g.starts, start)
	}
	g.last = f.Nanoseconds
	return g.sample(f)
}

// sample adds the frame's value to each signal that is in it.
func (g *canLog) sample(f *can.Frame) error {
	for _, c := range g.clocks {
		if c.of.In(f) {
			c.times.push(float64(f.Nanoseconds-g.origin) / 1e9)
			c.last = f.Nanoseconds
			g.kept++
		}
	}
	for i := range g.signals {
		s := &g.signals[i]
		if !s.In(f) {
			continue
		}
		n := s.v.n
		x, ok := s.Value(f.Data())
		if !ok || math.Abs(x) >= beyond {
			x = math.NaN()
			if k := len(s.missing); k > 0 && s.missing[k-1].To == n {
				s.missing[k-1].To++
			} else {
				s.missing = append(s.missing, Span{From: n, To: n + 1, Limit: math.NaN(), Text: fmt.Sprintf("%X", f.Data())})
			}
			if len(s.missing) > mostSpans {
				return g.fault(g.lines, "are the signal's bits right?", "signal %q comes and goes more than %d times", s.Name, mostSpans)
			}
		}
		s.v.push(x)
		g.kept++
	}
	most := g.opt.MaxValues
	if most <= 0 {
		most = 500_000_000
	}
	if g.kept > most {
		return g.fault(g.lines, "cut the log, or take fewer signals", "more than %d numbers", most)
	}
	return nil
}

// finish makes the waveform.
func (g *canLog) finish(s *source) (*Waveform, error) {
	if len(g.signals) == 0 {
		return nil, diag.Bad("write them into the vehicle file: can: {dc_link: {id: 0x3A1, start: 0, bits: 16, order: little, scale: 0.1 V}}; the log holds "+g.inventory(),
			"%s: a candump log holds frames, and nothing says which bits are which signal", g.opt.name())
	}
	want, err := g.recording()
	if err != nil {
		return nil, err
	}
	w := &Waveform{Importer: Importer}
	end := canStart{}
	if want < len(g.starts) {
		end = g.starts[want]
	}
	for i := range g.signals {
		sig := &g.signals[i]
		from, to := g.starts[want-1].from[i], sig.v.n
		if end.from != nil {
			to = end.from[i]
		}
		if from == to { // of all the car's signals a log need not hold each
			g.absent = append(g.absent, fmt.Sprintf("%q (%s)", sig.Name, sig.IDText()))
			continue
		}
		w.Channels = append(w.Channels, g.channel(sig, from, to))
		s.set.Signals = append(s.set.Signals, sig.Signal)
	}
	g.note(s, w)
	if len(w.Channels) == 0 {
		return nil, diag.Bad("the log holds "+g.inventory(), "%s: recording %d holds none of %s", g.opt.name(), want, strings.Join(g.absent, ", "))
	}
	s.set.Recording, s.set.Interval = want, w.Channels[0].Axis.Step
	if a := w.Channels[0].Axis; a.Times != nil {
		s.set.Interval, _ = steps(a.Times)
	}
	s.set.Origin = fmt.Sprintf("%d.%09d", g.origin/1e9, g.origin%1e9)
	w.Notes, w.Detected = g.notes, s.set
	return w, nil
}

// channel makes the channel of samples from to to.
func (g *canLog) channel(sig *canSignal, from, to int) Channel {
	a := sig.axisOf(from, to, power(-g.digits))
	ch := Channel{Name: sig.Name, Unit: sig.Unit, Dim: sig.Dim, Axis: a, V: slices.Clip(sig.v.join()[from:to]), Digit: math.Abs(sig.Scale)}
	for _, s := range sig.missing {
		s.From, s.To = max(s.From-from, 0), min(s.To-from, a.N)
		if s.From < s.To {
			ch.Missing = append(ch.Missing, s)
		}
	}
	return ch
}

// axisOf gives the times of some samples: of all signals on this clock, which
// have the same.
func (c *canClock) axisOf(from, to int, digit float64) *Axis {
	if c.axis == nil {
		times := slices.Clip(c.times.join()[from:to])
		c.axis = &Axis{N: len(times), Digit: digit}
		if start, step, ok := regular(times, digit); ok {
			c.axis.Start, c.axis.Step = start, step
		} else {
			c.axis.Times = times
		}
		c.times = column{}
	}
	return c.axis
}

// recording chooses the recording.
func (g *canLog) recording() (int, error) {
	if len(g.starts) == 0 {
		var names []string
		for _, s := range g.signals {
			names = append(names, fmt.Sprintf("%s (%s)", s.Name, s.IDText()))
		}
		return 0, diag.Bad("the log holds "+g.inventory(), "%s: no frame holds %s", g.opt.name(), strings.Join(names, ", "))
	}
	want := g.opt.Recording
	if want == 0 && len(g.starts) > 1 {
		return 0, g.fault(g.starts[1].line, "say which one with --recording 1, 2, …",
			"the time runs backwards here: the log holds %d recordings", len(g.starts))
	}
	want = max(want, 1)
	if want > len(g.starts) {
		return 0, g.fault(1, "", "there is no recording %d, the log holds %d", want, len(g.starts))
	}
	return want, nil
}
