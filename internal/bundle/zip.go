package bundle

import (
	"bufio"
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"io"
	"math"
)

// The container is the part of ZIP (PKWARE APPNOTE 6.3.10) that needs no
// choices: members one after the other, stored as they are, all dated
// 1980-01-01, no flags but "names are UTF-8", no extra fields, no comments;
// then the central directory and its end. With 65,535 members or more the
// ZIP64 end record (4.3.14) gives their number. Whole files stay below 4 GiB.
const (
	localSignature   = 0x04034b50
	centralSignature = 0x02014b50
	endSignature     = 0x06054b50
	end64Signature   = 0x06064b50
	locatorSignature = 0x07064b50

	localLength   = 30
	centralLength = 46
	endLength     = 22
	end64Length   = 56
	locatorLength = 20

	zipVersion  = 20
	utf8Flag    = 0x0800
	zipDate     = 0x0021 // 1980-01-01
	maxFile     = math.MaxUint32 - 1
	maxName     = 255
	many        = 0xFFFF     // from so many members on their number stands in the ZIP64 record
	maxMembers  = 20_000_000 // more do not fit below 4 GiB
	plainMember = 0          // compression method: stored
)

// A member is one file in the container.
type member struct {
	name   string
	crc    uint32
	size   int64
	offset int64 // of the local header
}

func (m member) data() int64 { return m.offset + localLength + int64(len(m.name)) }
func (m member) end() int64  { return m.data() + m.size }

// local prints the header before a member.
func (m member) local(b []byte) []byte {
	b = binary.LittleEndian.AppendUint32(b, localSignature)
	b = m.common(b)
	return append(b, m.name...)
}

// common is what both headers of a member say.
func (m member) common(b []byte) []byte {
	le := binary.LittleEndian
	b = le.AppendUint16(b, zipVersion)
	b = le.AppendUint16(b, utf8Flag)
	b = le.AppendUint16(b, plainMember)
	b = le.AppendUint16(b, 0) // time
	b = le.AppendUint16(b, zipDate)
	b = le.AppendUint32(b, m.crc)
	b = le.AppendUint32(b, uint32(m.size))
	b = le.AppendUint32(b, uint32(m.size))
	b = le.AppendUint16(b, uint16(len(m.name)))
	return le.AppendUint16(b, 0) // extra
}

// central prints the member's record in the directory.
func (m member) central(b []byte) []byte {
	le := binary.LittleEndian
	b = le.AppendUint32(b, centralSignature)
	b = le.AppendUint16(b, zipVersion) // made by: MS-DOS, so that no attributes say "link"
	b = m.common(b)
	b = append(b, make([]byte, 2+2+2+4)...) // comment, disk, attributes
	b = le.AppendUint32(b, uint32(m.offset))
	return append(b, m.name...)
}

// end prints what follows the directory.
func end(count, directory, at int64) []byte {
	le := binary.LittleEndian
	var b []byte
	if count >= many {
		b = le.AppendUint32(b, end64Signature)
		b = le.AppendUint64(b, end64Length-12)
		b = le.AppendUint16(b, 45)
		b = le.AppendUint16(b, 45)
		b = append(b, make([]byte, 8)...) // disks
		b = le.AppendUint64(b, uint64(count))
		b = le.AppendUint64(b, uint64(count))
		b = le.AppendUint64(b, uint64(directory))
		b = le.AppendUint64(b, uint64(at))
		b = le.AppendUint32(b, locatorSignature)
		b = le.AppendUint32(b, 0)
		b = le.AppendUint64(b, uint64(at+directory))
		b = le.AppendUint32(b, 1)
	}
	n := uint16(min(count, many))
	b = le.AppendUint32(b, endSignature)
	b = append(b, 0, 0, 0, 0) // disks
	b = le.AppendUint16(b, n)
	b = le.AppendUint16(b, n)
	b = le.AppendUint32(b, uint32(directory))
	b = le.AppendUint32(b, uint32(at))
	return append(b, 0, 0) // comment
}

// A zipWriter prints a container.
type zipWriter struct {
	w         io.Writer
	at        int64
	count     int64
	directory bytes.Buffer
}

func (z *zipWriter) add(name string, data []byte) error {
	if len(name) > maxName {
		return fmt.Errorf("%.80s…: the name is too long", name)
	}
	m := member{name, crc32.ChecksumIEEE(data), int64(len(data)), z.at}
	if m.end()+int64(z.directory.Len()) > maxFile-1<<16 {
		return errors.New("the bundle would be larger than 4 GiB")
	}
	for _, part := range [][]byte{m.local(nil), data} {
		if _, err := z.w.Write(part); err != nil {
			return err
		}
	}
	z.at, z.count = m.end(), z.count+1
	z.directory.Write(m.central(nil))
	return nil
}

func (z *zipWriter) close() error {
	length := int64(z.directory.Len())
	if _, err := z.w.Write(z.directory.Bytes()); err != nil {
		return err
	}
	_, err := z.w.Write(end(z.count, length, z.at))
	return err
}

// readEnd finds the directory: its number of members, where it is, and how
// long.
func readEnd(r io.ReaderAt, size int64) (count, at, length int64, err error) {
	if size < endLength || size > maxFile {
		return 0, 0, 0, malformed("it has %d bytes, and a bundle %d to %d", size, endLength, int64(maxFile))
	}
	tail := make([]byte, min(size, end64Length+locatorLength+endLength))
	if err := readAt(r, tail, size-int64(len(tail))); err != nil {
		return 0, 0, 0, err
	}
	le, e := binary.LittleEndian, tail[len(tail)-endLength:]
	count, length, at = int64(le.Uint16(e[10:])), int64(le.Uint32(e[12:])), int64(le.Uint32(e[16:]))
	if count == many && len(tail) == end64Length+locatorLength+endLength {
		if n := le.Uint64(tail[32:]); n <= maxMembers {
			count = int64(n)
		}
	}
	want := end(count, length, at)
	if at+length+int64(len(want)) != size || !bytes.HasSuffix(tail, want) {
		return 0, 0, 0, malformed("it does not end as a bundle does: cut short, added to, or made by another program")
	}
	return count, at, length, nil
}

// readAll goes once over the container and gives each member with a reader of
// its bytes to visit, in order. Everything that is not a member's bytes is
// compared with what would have been printed. It keeps nothing.
func readAll(r io.ReaderAt, size int64, visit func(m member, data io.Reader) error) error {
	count, at, length, err := readEnd(r, size)
	if err != nil {
		return err
	}
	directory := bufio.NewReaderSize(io.NewSectionReader(r, at, length), 1<<16)
	body := bufio.NewReaderSize(io.NewSectionReader(r, 0, at), 1<<20)
	var head, want []byte
	offset := int64(0)
	for range count {
		m, raw, err := readCentral(directory, offset)
		if err != nil {
			return err
		}
		if want = m.central(want[:0]); !bytes.Equal(raw, want) || m.end() > at {
			return malformed("the directory is not spelled as it would be printed, at %q", m.name)
		}
		want = m.local(want[:0])
		if cap(head) < len(want) {
			head = make([]byte, localLength+maxName)
		}
		head = head[:len(want)]
		if err := fill(body, head); err != nil {
			return err
		}
		if !bytes.Equal(head, want) {
			return malformed("the directory and the header of %q do not agree, or the header is not spelled as it would be printed", m.name)
		}
		sum := crc32.NewIEEE()
		limited := &io.LimitedReader{R: body, N: m.size}
		data := io.TeeReader(limited, sum)
		if err := visit(m, data); err != nil {
			return err
		}
		if _, err := io.Copy(io.Discard, data); err != nil {
			return err
		}
		if limited.N != 0 || sum.Sum32() != m.crc {
			return malformed("%s: its bytes are not those that were packed (CRC-32)", m.name)
		}
		offset = m.end()
	}
	if _, err := directory.ReadByte(); err != io.EOF || offset != at {
		return malformed("there are bytes between the members and the directory that belong to nothing")
	}
	return nil
}

// readCentral reads one record of the directory.
func readCentral(r *bufio.Reader, offset int64) (m member, raw []byte, err error) {
	raw = make([]byte, centralLength, centralLength+64)
	if err := fill(r, raw); err != nil {
		return m, nil, err
	}
	le := binary.LittleEndian
	length := int(le.Uint16(raw[28:]))
	if le.Uint32(raw) != centralSignature || length == 0 || length > maxName {
		return m, nil, malformed("the directory is not spelled as it would be printed")
	}
	switch {
	case le.Uint16(raw[8:])&1 != 0:
		return m, nil, malformed("a member is encrypted")
	case le.Uint16(raw[10:]) != plainMember:
		return m, nil, malformed("a member is compressed, and a bundle compresses nothing")
	}
	name := make([]byte, length)
	if err := fill(r, name); err != nil {
		return m, nil, err
	}
	m = member{string(name), le.Uint32(raw[16:]), int64(le.Uint32(raw[20:])), offset}
	return m, append(raw, name...), nil
}

// fill reads all of b; what ends too early is malformed.
func fill(r io.Reader, b []byte) error {
	_, err := io.ReadFull(r, b)
	if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
		return malformed("it ends within its directory or a member")
	}
	return err
}

func readAt(r io.ReaderAt, b []byte, at int64) error {
	n, err := r.ReadAt(b, at)
	if n == len(b) {
		return nil
	}
	if errors.Is(err, io.EOF) {
		return malformed("it was cut short while it was read")
	}
	return err
}

// A MalformedError says why a file is not a bundle. Other errors of [Open] mean
// that the machine failed.
type MalformedError struct{ Why string }

// Error gives the reason.
func (e *MalformedError) Error() string { return e.Why }

func malformed(format string, a ...any) error { return &MalformedError{fmt.Sprintf(format, a...)} }
