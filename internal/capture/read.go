package capture

import (
	"errors"
	"io"

	"hvproof/internal/diag"
)

// Read reads one recording of a capture file: a text export, or a candump
// log if opt names signals or the file looks like one; either may be
// compressed by gzip.
//
// Errors are *diag.Error with the place, what is wrong and what would be
// right: of class ClassBadInput for what lies in the file or the options,
// ClassMachine where reading itself failed. A file that can be read in two
// ways is an error that names the option which settles it.
func Read(r io.Reader, opt Options) (*Waveform, error) {
	s, err := open(r, opt)
	if err != nil {
		return nil, err
	}
	if len(trim(content(s.head))) == 0 {
		return nil, diag.Bad("export the capture once more", "%s: the file is empty", opt.name())
	}
	read := s.readText
	if isCandump(s.head) {
		read = s.readCAN
	} else if err := foreignLog(s.head, opt); err != nil {
		return nil, err
	}
	w, err := read(opt)
	if err != nil {
		return nil, err
	}
	w.SHA256, err = s.finish(opt)
	return w, err
}

// readText reads a table of numbers.
func (s *source) readText(opt Options) (*Waveform, error) {
	s.set.Format = "text"
	h := newHead(s, opt)
	d, err := h.dialect(opt)
	if err != nil {
		return nil, err
	}
	l, err := newLayout(h, d, opt, &s.set)
	if err != nil {
		return nil, err
	}
	if _, err := s.text.Discard(h.lines[l.first].at); err != nil {
		return nil, s.failed(opt, err)
	}
	t := newTable(l, s.size)
	err = stream(s.rest(), opt.workers(), l.p.parse, func(k *block) error {
		if opt.Progress != nil {
			opt.Progress(s.bytes.n.Load())
		}
		return t.take(k)
	})
	var known *diag.Error
	switch {
	case errors.Is(err, errLongLine):
		return nil, t.fault(t.lines, "", "a line of more than 250,000 characters", "is this a capture?")
	case errors.As(err, &known):
		return nil, err
	case err != nil:
		return nil, s.failed(opt, err)
	}
	return t.finish()
}
