package ledger

import (
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"math"
	"time"

	"hvproof/internal/entry"
)

// What was kept of a log can be laid aside, so that it need not be read and
// taken apart again as long as nothing is written to the log. It is for the
// program that wrote it and for nobody else: no format, and signed by nobody.
//
// First stand all different texts, then the entries, which name them by their
// number, then the SHA-256 of it all.

// MarshalKept lays entries aside.
func MarshalKept(kept []Kept) []byte {
	w := keptWriter{number: map[string]uint64{}}
	for i := range kept {
		w.kept(&kept[i])
	}
	out := binary.AppendUvarint(nil, uint64(len(w.texts)))
	size := 0
	for _, t := range w.texts {
		out = binary.AppendUvarint(out, uint64(len(t)))
		size += len(t)
	}
	out = binary.AppendUvarint(out, uint64(size))
	for _, t := range w.texts {
		out = append(out, t...)
	}
	out = binary.AppendUvarint(out, uint64(len(kept)))
	out = binary.AppendUvarint(out, w.fields)
	out = append(out, w.entries...)
	sum := sha256.Sum256(out)
	return append(out, sum[:]...)
}

// keptBytes is what an entry without fields takes at least: leaf and root, index,
// moment and uptime, eight texts, the number of fields.
const keptBytes = 64 + 1 + 20 + 8 + 1

type keptWriter struct {
	texts   []string
	number  map[string]uint64
	entries []byte
	fields  uint64
}

func (w *keptWriter) text(s string) {
	n, ok := w.number[s]
	if !ok {
		n = uint64(len(w.texts))
		w.texts, w.number[s] = append(w.texts, s), n
	}
	w.entries = binary.AppendUvarint(w.entries, n)
}

func (w *keptWriter) kept(k *Kept) {
	e := &k.Entry
	w.entries = append(append(w.entries, k.Leaf[:]...), e.Root[:]...)
	w.entries = binary.AppendUvarint(w.entries, uint64(e.Index))
	w.entries = binary.LittleEndian.AppendUint64(w.entries, uint64(e.Time.Unix()))
	w.entries = binary.LittleEndian.AppendUint32(w.entries, uint32(e.Time.Nanosecond()))
	w.entries = binary.LittleEndian.AppendUint64(w.entries, math.Float64bits(e.Uptime))
	for _, t := range [...]string{k.Signer, e.Origin, e.Zone, e.Boot, e.Version, string(e.Kind), e.Run, e.Path} {
		w.text(t)
	}
	w.entries = binary.AppendUvarint(w.entries, uint64(len(e.Fields)))
	w.fields += uint64(len(e.Fields))
	for _, f := range e.Fields {
		w.text(f.Name)
		w.text(f.Value)
	}
}

var errKept = errors.New("this is not what was laid aside")

// ParseKept reads what [MarshalKept] laid aside, nothing for an error.
func ParseKept(data []byte) ([]Kept, error) {
	if len(data) < sha256.Size {
		return nil, errKept
	}
	body, sum := data[:len(data)-sha256.Size], data[len(data)-sha256.Size:]
	whole := make(chan bool, 1)
	go func() { whole <- sha256.Sum256(body) == [sha256.Size]byte(sum) }()
	out, err := parseKept(body)
	if !<-whole || err != nil {
		return nil, errKept
	}
	return out, nil
}

// parseKept takes apart what may be anything.
func parseKept(body []byte) ([]Kept, error) {
	r := keptReader{rest: body}
	r.readTexts()
	n := r.count(keptBytes)
	fields := r.count(2)
	if r.bad {
		return nil, errKept
	}
	out, all := make([]Kept, n), make([]entry.Field, fields)
	for i := range out {
		all = r.kept(&out[i], all)
	}
	if r.bad || len(r.rest) > 0 || len(all) > 0 {
		return nil, errKept
	}
	return out, nil
}

// A keptReader takes apart from the front; after something that cannot be it
// is bad, and gives zeros.
type keptReader struct {
	rest  []byte
	texts []string
	bad   bool
}

// take gives the next n bytes, nil where there are not so many.
func (r *keptReader) take(n uint64) []byte {
	if n > uint64(len(r.rest)) {
		r.bad, r.rest = true, nil
		return nil
	}
	out := r.rest[:n]
	r.rest = r.rest[n:]
	return out
}

func (r *keptReader) uvarint() uint64 {
	x, n := binary.Uvarint(r.rest)
	if n <= 0 {
		r.bad, r.rest = true, nil
		return 0
	}
	r.rest = r.rest[n:]
	return x
}

// count reads how many of something follow, each of which takes so many bytes
// at least.
func (r *keptReader) count(least uint64) uint64 {
	n := r.uvarint()
	if n > uint64(len(r.rest))/least {
		r.bad = true
		return 0
	}
	return n
}

func (r *keptReader) readTexts() {
	lengths := make([]uint64, r.count(1))
	for i := range lengths {
		lengths[i] = r.uvarint()
	}
	all := string(r.take(r.uvarint()))
	r.texts = make([]string, len(lengths))
	for i, n := range lengths {
		if n > uint64(len(all)) {
			r.bad = true
			return
		}
		r.texts[i], all = all[:n], all[n:]
	}
}

func (r *keptReader) text() string {
	if n := r.uvarint(); n < uint64(len(r.texts)) {
		return r.texts[n]
	}
	r.bad = true
	return ""
}

// kept reads one entry; its fields are cut from all, what is left of which it
// gives back.
func (r *keptReader) kept(k *Kept, all []entry.Field) []entry.Field {
	e := &k.Entry
	head := r.take(64)
	e.Index = int64(r.uvarint())
	fixed := r.take(20)
	if r.bad {
		return nil
	}
	copy(k.Leaf[:], head)
	copy(e.Root[:], head[32:])
	e.Time = time.Unix(int64(binary.LittleEndian.Uint64(fixed)), int64(binary.LittleEndian.Uint32(fixed[8:]))).UTC()
	e.Uptime = math.Float64frombits(binary.LittleEndian.Uint64(fixed[12:]))
	k.Signer, e.Origin, e.Zone, e.Boot = r.text(), r.text(), r.text(), r.text()
	e.Version, e.Kind, e.Run, e.Path = r.text(), entry.Kind(r.text()), r.text(), r.text()
	n := r.uvarint()
	if n > uint64(len(all)) {
		r.bad = true
		return nil
	}
	if n > 0 {
		e.Fields = all[:n:n]
	}
	for i := range e.Fields {
		e.Fields[i] = entry.Field{Name: r.text(), Value: r.text()}
	}
	return all[n:]
}
