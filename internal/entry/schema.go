package entry

import (
	"encoding/base64"
	"encoding/hex"
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"
)

// A Kind says what an entry records; the constants list all there are.
type Kind string

// A Type says what the values of a field look like.
type Type int

// The types of fields.
const (
	Text   Type = iota // any text but the empty one
	Word               // one of the words that the schema lists
	Number             // as FormatNumber spells it, SI base units
	Count              // a whole number, 0 or more
	Yes                // "yes" or "no"
	Date               // 2006-01-02
	Time               // 2006-01-02T15:04:05.000000000Z
	Person             // a person's id
	Roles              // operator, witness, releaser: in this order, one space between
	Key                // name+hash+base64, a public key as signed notes write it
	Hash               // base64 of 32 bytes: a root or a leaf of a tree
	Digest             // SHA-256 in lower-case hexadecimal
	Blob               // the same, of a blob that must lie beside the log
)

var typeNames = [...]string{"text", "word", "number", "count", "yes or no", "date", "time",
	"person", "roles", "key", "hash", "digest", "blob"}

// String names the type as the specification does.
func (t Type) String() string { return typeNames[t] }

// A Need says how often a field stands in an entry.
type Need int

// The needs of fields.
const (
	Required Need = iota // exactly once
	Optional             // at most once
	Numbered             // a family: `name 1`, `name 2`, … without gaps, or none
)

// A FieldSpec is one row of a kind's schema.
type FieldSpec struct {
	Name  string
	Type  Type
	Need  Need
	Words []string // of type Word: what may stand there
}

// Kinds lists all kinds of entries in the order of the specification.
func Kinds() []Kind { return slices.Clone(kindOrder[:]) }

// Schema returns the fields of a kind in the order in which they are written;
// false for a kind that does not exist.
func Schema(k Kind) ([]FieldSpec, bool) {
	specs, ok := kinds[k]
	return slices.Clone(specs), ok
}

// Blobs returns the SHA-256 digests of the blobs that the entry names.
func (b Body) Blobs() [][32]byte {
	specs := kinds[b.Kind]
	var list [][32]byte
	for _, f := range b.Fields {
		family := f.Name
		if name, _, ok := splitNumbered(f.Name); ok {
			family = name
		}
		for i := range specs {
			if specs[i].Name == family && specs[i].Type == Blob {
				if raw, err := hex.DecodeString(f.Value); err == nil && len(raw) == 32 {
					list = append(list, [32]byte(raw))
				}
			}
		}
	}
	return list
}

var (
	personID  = regexp.MustCompile(`^[a-z][a-z0-9.-]{0,62}$`)
	keyText   = regexp.MustCompile(`^[^\s+]+\+[0-9a-f]{8}\+[A-Za-z0-9+/]{44}$`)
	roleNames = [...]string{"operator", "witness", "releaser"}
)

// IsPerson reports whether text is a person's id: a lower-case letter, then
// up to 62 letters, digits, '.' and '-'.
func IsPerson(text string) bool { return personID.MatchString(text) }

// isRun accepts [A-Za-z0-9][A-Za-z0-9._-]*, 128 bytes at most.
func isRun(s string) bool {
	if s == "" || len(s) > 128 || s[0] == '.' || s[0] == '_' || s[0] == '-' {
		return false
	}
	for i := range len(s) {
		if c := s[i]; !isLowerOrDigit(c) && (c < 'A' || c > 'Z') && c != '.' && c != '_' && c != '-' {
			return false
		}
	}
	return true
}

// isPath accepts words of [a-z0-9_] with one '.' or ':' between two.
func isPath(s string) bool {
	word := false
	for i := range len(s) {
		switch c := s[i]; {
		case isLowerOrDigit(c) || c == '_':
			word = true
		case (c == '.' || c == ':') && word:
			word = false
		default:
			return false
		}
	}
	return word
}

// isZone accepts +00:00 to ±14:59, but for -00:00.
func isZone(s string) bool {
	if len(s) != 6 || s[0] != '+' && s[0] != '-' || s[3] != ':' || s == "-00:00" {
		return false
	}
	for _, i := range [...]int{1, 2, 4, 5} {
		if s[i] < '0' || s[i] > '9' {
			return false
		}
	}
	return s[1:3] <= "14" && s[4] <= '5'
}

func (s FieldSpec) check(value string) error {
	ok := true
	switch s.Type {
	case Text:
		ok = value != ""
	case Word:
		if !slices.Contains(s.Words, value) {
			return fmt.Errorf("%.40q is none of %s", value, strings.Join(s.Words, ", "))
		}
	case Number:
		_, err := ParseNumber(value)
		return err
	case Count:
		_, err := parseCount(value)
		return err
	case Yes:
		ok = value == "yes" || value == "no"
	case Date:
		t, err := time.Parse(time.DateOnly, value)
		ok = err == nil && t.Format(time.DateOnly) == value
	case Time:
		_, err := parseTime(value)
		return err
	case Person:
		ok = IsPerson(value)
	case Roles:
		ok = isRoles(value)
	case Key:
		ok = keyText.MatchString(value)
	case Hash:
		_, err := ParseHash(value)
		return err
	case Digest, Blob:
		ok = len(value) == 64 && strings.Trim(value, "0123456789abcdef") == ""
	}
	if !ok {
		return fmt.Errorf("%.40q is not a %s", value, s.Type)
	}
	return nil
}

// isRoles accepts one to three different roles in their fixed order.
func isRoles(value string) bool {
	last := -1
	for word := range strings.SplitSeq(value, " ") {
		at := slices.Index(roleNames[:], word)
		if at <= last {
			return false
		}
		last = at
	}
	return true
}

// FormatHash prints a tree's hash as entries and checkpoints do: base64.
func FormatHash(h [32]byte) string { return base64.StdEncoding.EncodeToString(h[:]) }

// ParseHash reads what [FormatHash] prints and nothing else; the unused bits
// of the last character must be zero.
func ParseHash(text string) ([32]byte, error) {
	raw, err := base64.StdEncoding.DecodeString(text)
	if err != nil || len(raw) != 32 || base64.StdEncoding.EncodeToString(raw) != text {
		return [32]byte{}, fmt.Errorf("%.50q is not a hash: base64 of 32 bytes", text)
	}
	return [32]byte(raw), nil
}

// splitNumbered takes "result 12" apart. The number has no leading zero.
func splitNumbered(name string) (family string, n int, ok bool) {
	family, digits, found := strings.Cut(name, " ")
	if !found {
		return "", 0, false
	}
	n, err := strconv.Atoi(digits)
	if err != nil || n < 1 || strconv.Itoa(n) != digits {
		return "", 0, false
	}
	return family, n, true
}

// checkFields holds the fields against the schema: names, order, values.
func checkFields(kind Kind, fields []Field) error {
	at := 0
	for _, spec := range kinds[kind] {
		if spec.Need == Numbered {
			for n := 1; at < len(fields); n++ {
				family, number, ok := splitNumbered(fields[at].Name)
				if !ok || family != spec.Name {
					break
				}
				if number != n {
					return fmt.Errorf("%s: should be `%s %d`: the family is numbered from 1 without gaps", fields[at].Name, spec.Name, n)
				}
				if err := spec.check(fields[at].Value); err != nil {
					return fmt.Errorf("%s: %w", fields[at].Name, err)
				}
				at++
			}
			continue
		}
		if at == len(fields) || fields[at].Name != spec.Name {
			if spec.Need == Required {
				return fmt.Errorf("%s: missing, or not in its place in an entry of kind %s", spec.Name, kind)
			}
			continue
		}
		if err := spec.check(fields[at].Value); err != nil {
			return fmt.Errorf("%s: %w", spec.Name, err)
		}
		at++
	}
	if at < len(fields) {
		return fmt.Errorf("%.40s: not a field of an entry of kind %s, or not in its place", fields[at].Name, kind)
	}
	return nil
}
