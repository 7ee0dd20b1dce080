package entry

import (
	"fmt"
	"strings"
	"time"
)

// MaxText is the greatest length of an entry's text, in bytes. What is longer
// belongs into a blob that the entry names by its SHA-256.
const MaxText = 1 << 20

// A Header is what the log adds to a proposed [Body].
type Header struct {
	Origin  string    // the log: see [Origin]
	Index   int64     // place in the log, from 0
	Root    [32]byte  // RFC 6962 root of the tree over the Index entries before
	Time    time.Time // UTC; the nanosecond is recorded
	Zone    string    // offset of local time from UTC, "+01:00"
	Uptime  float64   // seconds since the program started, ≥ 0
	Boot    string    // identity of this start of the machine
	Version string    // version of the program
}

// A Body is what a part of the program proposes to record: the kind, the run
// and the step path where there are any, and the fields of the kind in the
// order of its schema.
type Body struct {
	Kind   Kind
	Run    string // run id, "" where the entry belongs to no run
	Path   string // step path, "" where the entry belongs to no step
	Fields []Field
}

// A Field is one `name: value` line. Value is the plain text: escapes exist
// only in the printed entry. Empty values are not written: leave the field out.
type Field struct{ Name, Value string }

// An Entry is a complete record, ready to be printed and signed.
type Entry struct {
	Header
	Body
}

// Get returns the value of the field with that name ("value", "result 2").
func (b Body) Get(name string) (string, bool) {
	for _, f := range b.Fields {
		if f.Name == name {
			return f.Value, true
		}
	}
	return "", false
}

// Text returns the value of the field with that name, "" where it is absent.
func (b Body) Text(name string) string {
	v, _ := b.Get(name)
	return v
}

// Number returns the value of a number field; false where it is absent or is
// not a number as [FormatNumber] spells it.
func (b Body) Number(name string) (float64, bool) {
	v, ok := b.Get(name)
	if !ok {
		return 0, false
	}
	f, err := ParseNumber(v)
	return f, err == nil
}

// Yes reports whether the field is present and says "yes".
func (b Body) Yes(name string) bool { return b.Text(name) == "yes" }

// Family returns the values of a numbered family: Family("result") those of
// `result 1`, `result 2`, and so on, in order.
func (b Body) Family(name string) []string {
	var values []string
	for _, f := range b.Fields {
		if !strings.HasPrefix(f.Name, name) {
			continue // most fields: a log has many
		}
		if family, _, ok := splitNumbered(f.Name); ok && family == name {
			values = append(values, f.Value)
		}
	}
	return values
}

// Add appends a field, unless its value is empty: absent is the only spelling
// of empty.
func (b *Body) Add(name, value string) {
	if value != "" {
		b.Fields = append(b.Fields, Field{name, value})
	}
}

// AddNumber appends a number. One that is not finite is kept as an empty
// value, which [Marshal] refuses: it must not silently go missing.
func (b *Body) AddNumber(name string, x float64) {
	b.Fields = append(b.Fields, Field{name, FormatNumber(x)})
}

// AddYes appends "yes" or "no".
func (b *Body) AddYes(name string, yes bool) {
	b.Add(name, map[bool]string{true: "yes", false: "no"}[yes])
}

// AddFamily appends a numbered family: `name 1`, `name 2`, and so on. An empty
// member is kept, so that [Marshal] refuses it rather than renumber the others.
func (b *Body) AddFamily(name string, values ...string) {
	for i, v := range values {
		b.Fields = append(b.Fields, Field{fmt.Sprintf("%s %d", name, i+1), v})
	}
}
