package capture

import (
	"bufio"
	"bytes"
	"compress/gzip"
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"hash"
	"io"
	"io/fs"
	"sync/atomic"

	"hvproof/internal/diag"
)

// headSize is how much of the text is looked at to find out how it is
// written. Data must begin within it.
const headSize = 256 << 10

// source is the text of a file: decoded, with LF or CRLF line ends.
type source struct {
	text  *bufio.Reader
	under io.Reader // what text reads
	// head is a copy of the first part of text; whole says that it is all.
	head  []byte
	whole bool
	// size is about how many bytes text has, 0 if not known.
	size int64

	bytes *tally
	set   Settings
}

// tally passes bytes on, counts them and takes their digest.
type tally struct {
	r    io.Reader
	n    atomic.Int64
	sum  hash.Hash // nil: not wanted
	fail error     // an error of the reader itself
}

func (t *tally) Read(p []byte) (int, error) {
	n, err := t.r.Read(p)
	t.n.Add(int64(n))
	if t.sum != nil {
		t.sum.Write(p[:n])
	}
	if err != nil && err != io.EOF {
		t.fail = err
	}
	return n, err
}

// open looks at the beginning of r and undoes compression and encoding.
func open(r io.Reader, opt Options) (*source, error) {
	s := &source{bytes: &tally{r: r}, size: sizeOf(r)}
	if opt.Digest == nil {
		s.bytes.sum = sha256.New()
	}
	s.buffer(s.bytes)
	first, err := s.peek(2)
	if err != nil {
		return nil, s.failed(opt, err)
	}
	if bytes.Equal(first, []byte{0x1f, 0x8b}) {
		z, err := gzip.NewReader(s.text)
		if err != nil {
			return nil, s.failed(opt, err)
		}
		s.set.Compression, s.size = "gzip", unpackedSize(r, s.size)
		s.buffer(z)
	}
	if err := s.decode(); err != nil {
		return nil, s.failed(opt, err)
	}
	return s, nil
}

// buffer makes r the text, so that its beginning can be looked at.
func (s *source) buffer(r io.Reader) {
	s.under, s.text = r, bufio.NewReaderSize(r, headSize)
}

// rest is the text that is left, not copied through the buffer.
func (s *source) rest() io.Reader {
	ahead, _ := s.text.Peek(s.text.Buffered())
	return io.MultiReader(bytes.NewReader(ahead), s.under)
}

// peek looks at up to n bytes of the text; whole says that there are no more.
func (s *source) peek(n int) ([]byte, error) {
	b, err := s.text.Peek(n)
	s.whole = err == io.EOF
	if s.whole {
		err = nil
	}
	return b, err
}

// decode finds the encoding and the line ends, puts decoders into place and
// takes the head.
func (s *source) decode() error {
	b, err := s.peek(headSize)
	if err != nil {
		return err
	}
	s.set.Encoding = encodingOf(b)
	switch s.set.Encoding {
	case utf16LE, utf16BE:
		s.buffer(&utf16Reader{r: s.text, big: s.set.Encoding == utf16BE})
		s.size /= 2
	case utf8BOM:
		if _, err := s.text.Discard(3); err != nil {
			return err
		}
	}
	if b, err = s.peek(headSize); err != nil {
		return err
	}
	lf, cr := bytes.IndexByte(b, '\n'), bytes.IndexByte(b, '\r')
	switch {
	case lf < 0 && cr >= 0:
		s.set.LineEnd = "CR"
		s.buffer(crReader{s.text})
		if b, err = s.peek(headSize); err != nil {
			return err
		}
	case cr >= 0 && cr == lf-1:
		s.set.LineEnd = "CRLF"
	default:
		s.set.LineEnd = "LF"
	}
	s.head = bytes.Clone(b)
	return nil
}

// finish reads what is left, so that the digest is that of the whole file.
func (s *source) finish(opt Options) ([32]byte, error) {
	if _, err := io.Copy(io.Discard, s.bytes); err != nil {
		return [32]byte{}, s.failed(opt, err)
	}
	if opt.Digest != nil {
		return *opt.Digest, nil
	}
	return [32]byte(s.bytes.sum.Sum(nil)), nil
}

// failed tells a machine that cannot read from a file that is damaged.
func (s *source) failed(opt Options, err error) error {
	if s.bytes.fail != nil && errors.Is(err, s.bytes.fail) {
		return diag.Machine("", "%s: reading: %w", opt.name(), err)
	}
	return diag.Bad("copy it once more from the instrument", "%s: the compressed file is damaged or cut short: %w", opt.name(), err)
}

// name is the file's name for messages.
func (o Options) name() string {
	if o.Name == "" {
		return "capture"
	}
	return o.Name
}

// sizeOf gives the length of what r reads, 0 if it does not know.
func sizeOf(r io.Reader) int64 {
	switch r := r.(type) {
	case interface{ Len() int }:
		return int64(r.Len())
	case interface{ Stat() (fs.FileInfo, error) }:
		if info, err := r.Stat(); err == nil && info.Mode().IsRegular() {
			return info.Size()
		}
	}
	return 0
}

// unpackedSize reads the length that a gzip file states at its end. It is
// only a hint, and one that cannot be true is not taken.
func unpackedSize(r io.Reader, size int64) int64 {
	at, ok := r.(io.ReaderAt)
	var tail [4]byte
	if !ok || size < 20 {
		return 0
	}
	if _, err := at.ReadAt(tail[:], size-4); err != nil {
		return 0
	}
	unpacked := int64(binary.LittleEndian.Uint32(tail[:]))
	if unpacked < size/2 || unpacked > 100*size {
		return 0
	}
	return unpacked
}
