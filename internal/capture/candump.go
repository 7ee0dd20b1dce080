package capture

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"hvproof/internal/diag"
)

// isCandump reports whether the first line is one of a candump log.
func isCandump(head []byte) bool {
	for line := range bytes.Lines(head) {
		if line = content(line); len(line) > 0 {
			var f frame
			return parseFrame(line, &f)
		}
	}
	return false
}

// canLog is a log as it is being read.
type canLog struct {
	opt     Options
	lines   int64
	origin  int64
	frames  int64
	digits  int
	waiting int64 // line of something that is no frame, from 1
	said    string
	signals []canSignal
	last    int64          // time of the last frame of any signal
	starts  []canStart     // recordings
	ids     map[uint32]int // frames by identifier, to say what there is
	lengths map[uint32]int // and their length
	odd     map[string]int // frames that hold no data
	notes   []Note
	short   bool // the file ends inside a line
}

// canSignal is one signal's samples.
type canSignal struct {
	Signal
	times, v []float64
	missing  []Span
	lastTime int64
	seen     bool
}

// canStart is where a recording begins: a line, and a sample of each signal.
type canStart struct {
	line int64
	from []int
}

// readCAN reads the signals of the options out of a candump log.
func (s *source) readCAN(opt Options) (*Waveform, error) {
	s.set.Format, s.set.TimeUnit, s.set.TimeFrom = "candump", "s", "the log's clock"
	g := &canLog{opt: opt, ids: map[uint32]int{}, lengths: map[uint32]int{}, odd: map[string]int{}}
	for _, sig := range opt.Signals {
		if err := sig.Check(); err != nil {
			return nil, err
		}
		g.signals = append(g.signals, canSignal{Signal: sig})
	}
	err := stream(s.text, 1, func(*block) {}, func(k *block) error {
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

// fault is an error at a line, from 1.
func (g *canLog) fault(line int64, hint, format string, a ...any) error {
	return bad(diag.Problem{Place: diag.Place{File: g.opt.name(), Line: int(line)}, Message: fmt.Sprintf(format, a...), Hint: hint})
}

// take reads a block of lines.
func (g *canLog) take(k *block) error {
	text := k.data[:k.size]
	for line := range bytes.Lines(text) {
		g.lines++
		last := k.cut && len(line) > 0 && &line[len(line)-1] == &text[len(text)-1]
		if line = content(line); len(line) == 0 {
			continue
		}
		var f frame
		if !parseFrame(line, &f) || last {
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
	return nil
}

// add gives a frame to its signals.
func (g *canLog) add(f *frame) error {
	if g.frames++; g.frames == 1 {
		g.origin = f.ns
	}
	g.digits = max(g.digits, f.digits)
	switch {
	case f.failure:
		g.odd["error"]++
		return nil
	case f.remote:
		g.odd["remote"]++
		return nil
	}
	if len(g.ids) < 1000 || g.ids[f.id] > 0 {
		g.ids[f.id]++
		g.lengths[f.id] = f.length
	}
	wanted, back := false, false
	for i := range g.signals {
		if s := &g.signals[i]; s.takes(f) {
			wanted = true
			back = back || s.seen && f.ns < s.lastTime
			s.lastTime, s.seen = f.ns, true
		}
	}
	if !wanted {
		return nil
	}
	// Frames of two buses may be a little out of order; a log that was
	// appended to goes back further.
	if len(g.starts) == 0 || back || f.ns < g.last-1e9 {
		start := canStart{line: g.lines}
		for i := range g.signals {
			start.from = append(start.from, len(g.signals[i].v))
		}
		g.starts = append(g.starts, start)
	}
	g.last = f.ns
	return g.sample(f)
}

// sample adds the frame's value to each signal that is in it.
func (g *canLog) sample(f *frame) error {
	most := g.opt.MaxValues
	if most <= 0 {
		most = 500_000_000
	}
	total := int64(0)
	for i := range g.signals {
		s := &g.signals[i]
		total += 2 * int64(len(s.v))
		if !s.takes(f) {
			continue
		}
		n := len(s.v)
		x, ok := s.value(f.data[:f.length])
		if !ok {
			x = math.NaN()
			if k := len(s.missing); k > 0 && s.missing[k-1].To == n {
				s.missing[k-1].To++
			} else {
				s.missing = append(s.missing, Span{From: n, To: n + 1, Limit: math.NaN(), Text: fmt.Sprintf("%X", f.data[:f.length])})
			}
		}
		s.times = append(s.times, float64(f.ns-g.origin)/1e9)
		s.v = append(s.v, x)
	}
	if total > most {
		return g.fault(g.lines, "cut the log, or take fewer signals", "more than %d numbers", most)
	}
	return nil
}

// finish makes the waveform.
func (g *canLog) finish(s *source) (*Waveform, error) {
	if len(g.signals) == 0 {
		return nil, diag.Bad("give the signals of the car's CAN (identifier, first bit, bits, scale); the log holds "+g.inventory(),
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
		from, to := g.starts[want-1].from[i], len(sig.v)
		if end.from != nil {
			to = end.from[i]
		}
		if from == to {
			return nil, diag.Bad("the log holds "+g.inventory(), "%s: no frame holds signal %q (identifier %s)", g.opt.name(), sig.Name, sig.idText())
		}
		w.Channels = append(w.Channels, g.channel(sig, from, to))
	}
	g.note(s, w)
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
	times := slices.Clip(sig.times[from:to])
	a := &Axis{N: len(times), Digit: power(-g.digits)}
	if start, step, ok := regular(times, a.Digit); ok {
		a.Start, a.Step = start, step
	} else {
		a.Times = times
	}
	ch := Channel{Name: sig.Name, Unit: sig.Unit, Dim: sig.Dim, Axis: a, V: slices.Clip(sig.v[from:to]), Digit: math.Abs(sig.Scale)}
	for _, s := range sig.missing {
		s.From, s.To = max(s.From-from, 0), min(s.To-from, a.N)
		if s.From < s.To {
			ch.Missing = append(ch.Missing, s)
		}
	}
	return ch
}

// recording chooses the recording.
func (g *canLog) recording() (int, error) {
	if len(g.starts) == 0 {
		var names []string
		for _, s := range g.signals {
			names = append(names, fmt.Sprintf("%s (%s)", s.Name, s.idText()))
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
