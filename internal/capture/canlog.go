package capture

import (
	"bytes"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"hvproof/internal/diag"
)

// foreignLog refuses CAN logs of other layouts, whose bytes would pass for
// columns of numbers: frames printed with their length in brackets, and logs
// that state the base of their numbers. It looks at the first 50 lines.
func foreignLog(head []byte, opt Options) error {
	n := 0
	for line := range bytes.Lines(head) {
		if n++; n > 50 {
			break
		}
		parts := strings.Fields(string(content(line)))
		found := len(parts) > 2 && strings.EqualFold(parts[0], "base") && strings.EqualFold(parts[2], "timestamps")
		for i := 1; i < len(parts) && !found; i++ {
			id, data := parts[i-1], parts[i+1:]
			_, err := strconv.ParseUint(id, 16, 32)
			found = err == nil && (len(id) == 3 || len(id) == 8) && parts[i] == fmt.Sprintf("[%d]", len(data))
		}
		if found {
			return diag.Bad("record it with candump -l or -L, or export the signal as a table of time and value", "%s:%d: this is a CAN log in a layout that is not read", opt.name(), n)
		}
	}
	return nil
}

// note says what was odd.
func (g *canLog) note(s *source, w *Waveform) {
	add := func(code string, line int64, format string, a ...any) {
		g.notes = append(g.notes, Note{Code: code, Line: line, Sentence: fmt.Sprintf(format, a...)})
	}
	for i, start := range g.starts {
		end := g.lines
		if i+1 < len(g.starts) {
			end = g.starts[i+1].line - 1
		}
		w.Recordings = append(w.Recordings, Recording{FirstLine: start.line, LastLine: end})
	}
	if len(g.starts) > 1 {
		add(NoteRecordings, g.starts[max(g.opt.Recording, 1)-1].line, "the log holds %d recordings; this is number %d", len(g.starts), max(g.opt.Recording, 1))
	}
	if g.odd["error"] > 0 {
		add(NoteErrorFrames, 0, "%s in the log: the bus was disturbed", plural(g.odd["error"], "error frame"))
	}
	if len(g.absent) > 0 {
		add(NoteMissing, 0, "no frame holds %s; the log holds %s", strings.Join(g.absent, ", "), g.inventory())
	}
	if g.waiting > 0 {
		w.SkippedLines++
		why := "no frame"
		if g.short {
			why = "the file ends inside this line"
			add(NoteCutShort, g.waiting, "the file ends inside line %d: that line is not read", g.waiting)
		} else {
			add(NoteTrailer, g.waiting, "from line %d on there are no more frames: %q", g.waiting, g.said)
		}
		w.Skipped = append(w.Skipped, LineNote{Line: g.waiting, Text: g.said, Why: why})
	}
	for i := range w.Channels {
		ch := &w.Channels[i]
		if ch.Axis.Times != nil {
			if found, longest, _, usual := gaps(ch.Axis.Times, ch.Axis.Digit); found > 0 {
				add(NoteGap, 0, "%s in signal %q, the longest of %s (usual: %s) before %s", plural(found, "gap"), ch.Name, seconds(longest.by),
					seconds(usual), seconds(ch.Axis.At(longest.row)))
			}
		}
		n := 0
		for _, m := range ch.Missing {
			n += m.To - m.From
		}
		if n > 0 {
			add(NoteMissing, 0, "%s without a value of signal %q: too short, or marked invalid", plural(n, "frame"), ch.Name)
		}
		if ch.Axis.N < fewSamples {
			add(NoteShort, 0, "only %s of signal %q", plural(ch.Axis.N, "sample"), ch.Name)
		}
	}
}

// inventory lists the identifiers of the log, the most frequent first.
func (g *canLog) inventory() string {
	var ids []uint32
	for id := range g.ids {
		ids = append(ids, id)
	}
	slices.SortFunc(ids, func(a, b uint32) int {
		if g.ids[a] != g.ids[b] {
			return g.ids[b] - g.ids[a]
		}
		return int(int64(a) - int64(b))
	})
	var out []string
	for i, id := range ids {
		if i == 8 {
			out = append(out, "…")
			break
		}
		out = append(out, fmt.Sprintf("%03X (%d frames of %d bytes)", id, g.ids[id], g.lengths[id]))
	}
	if len(out) == 0 {
		return "no data frames"
	}
	return strings.Join(out, ", ")
}
