package entry

import (
	"bytes"
	"encoding/base64"
	"errors"
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"
)

const (
	firstLine  = "hvproof entry 1"
	timeLayout = "2006-01-02T15:04:05.000000000Z"
)

// An UnknownKindError is what [Parse] returns beside the entry when everything
// but the kind is well formed: the signature and the place of such an entry
// can still be checked.
type UnknownKindError struct{ Kind Kind }

// Error names the kind.
func (e *UnknownKindError) Error() string {
	return fmt.Sprintf("kind: %.40q is not a kind of entry that this version knows", string(e.Kind))
}

var (
	kindName  = regexp.MustCompile(`^[a-z]+(-[a-z]+)*$`)
	fieldName = regexp.MustCompile(`^[a-z]+(-[a-z]+)*( [1-9][0-9]*)?$`)
)

// FormatTime prints a moment as entries do: UTC, nine digits of a second, Z.
func FormatTime(t time.Time) string { return t.UTC().Format(timeLayout) }

// parseTime reads what FormatTime prints. time.Parse takes one-digit hours and
// decimal commas too, therefore the comparison.
func parseTime(text string) (time.Time, error) {
	t, err := time.Parse(timeLayout, text)
	if err != nil || FormatTime(t) != text {
		return time.Time{}, fmt.Errorf("%.40q is not a time: 2006-01-02T15:04:05.000000000Z", text)
	}
	return t, nil
}

// Marshal prints the text of an entry, which ends in a line feed: the only
// possible bytes for it. It refuses what the schema of the kind does not
// allow; the error begins with the name of the field.
func Marshal(e Entry) ([]byte, error) {
	if !known(e.Kind) {
		return nil, &UnknownKindError{e.Kind}
	}
	if err := checkHeader(e); err != nil {
		return nil, err
	}
	if err := checkFields(e.Kind, e.Fields); err != nil {
		return nil, err
	}
	return spell(e)
}

func known(k Kind) bool {
	_, ok := kinds[k]
	return ok
}

func checkHeader(e Entry) error {
	if _, err := ParseOrigin(e.Origin); err != nil {
		return fmt.Errorf("origin: %w", err)
	}
	switch year := e.Time.UTC().Year(); {
	case e.Index < 0:
		return fmt.Errorf("index: %d is negative", e.Index)
	case !known(e.Kind) && !kindName.MatchString(string(e.Kind)):
		return fmt.Errorf("kind: %.40q is not a kind of entry", string(e.Kind))
	case year < 1970 || year > 9999:
		return fmt.Errorf("time: year %d is outside 1970 to 9999", year)
	case !isZone(e.Zone):
		return fmt.Errorf("zone: %.40q is not an offset from UTC: +01:00", e.Zone)
	case !(e.Uptime >= 0) || FormatNumber(e.Uptime) == "":
		return fmt.Errorf("uptime: %v is not a number of seconds, 0 or more", e.Uptime)
	case e.Boot == "":
		return errors.New("boot: missing")
	case e.Version == "":
		return errors.New("version: missing")
	case e.Run != "" && !isRun(e.Run):
		return fmt.Errorf("run: %.40q is not a run's id", e.Run)
	case e.Path != "" && !isPath(e.Path):
		return fmt.Errorf("path: %.40q is not a step's path", e.Path)
	}
	return nil
}

// spell writes the lines; it checks nothing but that the text can be printed.
func spell(e Entry) ([]byte, error) {
	b := make([]byte, 0, 768)
	var err error
	line := func(name, value string) {
		escaped, e := Escape(value)
		if e != nil && err == nil {
			err = fmt.Errorf("%s: %w", name, e)
		}
		b = append(append(append(append(b, name...), ": "...), escaped...), '\n')
	}
	b = append(b, firstLine+"\n"...)
	line("origin", e.Origin)
	line("index", strconv.FormatInt(e.Index, 10))
	line("root", FormatHash(e.Root))
	line("kind", string(e.Kind))
	line("time", FormatTime(e.Time))
	line("zone", e.Zone)
	line("uptime", FormatNumber(e.Uptime))
	line("boot", e.Boot)
	line("version", e.Version)
	if e.Run != "" {
		line("run", e.Run)
	}
	if e.Path != "" {
		line("path", e.Path)
	}
	for _, f := range e.Fields {
		line(f.Name, f.Value)
	}
	if err == nil && len(b) > MaxText {
		err = fmt.Errorf("the entry has %d bytes; more than %d belong into a blob", len(b), MaxText)
	}
	return b, err
}

// Parse reads the text of an entry: exactly what [Marshal] prints and nothing
// else, so that no two texts are the same entry. An entry of an unknown kind
// is returned together with an [*UnknownKindError]. Other errors begin with
// the name of the field, or with the line.
func Parse(text []byte) (Entry, error) {
	if len(text) > MaxText {
		return Entry{}, fmt.Errorf("the entry has %d bytes; at most %d are allowed", len(text), MaxText)
	}
	if !utf8.Valid(text) {
		return Entry{}, errors.New("the entry is not valid UTF-8")
	}
	p := parser{rest: string(text)}
	e, err := p.entry()
	if err != nil {
		return Entry{}, err
	}
	if err := checkHeader(e); err != nil {
		return Entry{}, err
	}
	if known(e.Kind) {
		if err := checkFields(e.Kind, e.Fields); err != nil {
			return Entry{}, err
		}
	} else if err := checkNames(e.Fields); err != nil {
		return Entry{}, err
	}
	again, err := spell(e)
	if err != nil {
		return Entry{}, err
	}
	if !bytes.Equal(again, text) {
		return Entry{}, errors.New("the entry is not spelled as it would be printed")
	}
	if !known(e.Kind) {
		return e, &UnknownKindError{e.Kind}
	}
	return e, nil
}

// ParseKnown takes apart the text of an entry that [Parse] has accepted before,
// and does not ask again whether it is spelled as it would be printed. It is
// for bytes that a tree's root has shown to be the same: of others it says
// nothing worth knowing. An entry of an unknown kind is no error here.
func ParseKnown(text []byte) (Entry, error) {
	p := parser{rest: string(text), known: true}
	return p.entry()
}

// checkNames is all that can be asked of the fields of an unknown kind.
func checkNames(fields []Field) error {
	seen := make(map[string]bool, len(fields))
	for _, f := range fields {
		if !fieldName.MatchString(f.Name) || f.Value == "" || seen[f.Name] {
			return fmt.Errorf("%.40q: not a field, or there twice, or empty", f.Name)
		}
		seen[f.Name] = true
	}
	return nil
}

type parser struct {
	rest  string
	known bool // the text was accepted before
	err   error
}

// next takes one `name: value` line; false at the end and on an error.
func (p *parser) next() (name, value string, ok bool) {
	if p.rest == "" || p.err != nil {
		return "", "", false
	}
	line, rest, ended := strings.Cut(p.rest, "\n")
	name, value, found := strings.Cut(line, ": ")
	if !ended || !found {
		p.err = fmt.Errorf("%.40q is not a line of the form `name: value`", line)
		return "", "", false
	}
	p.rest = rest
	if strings.IndexByte(value, '\\') >= 0 {
		plain, err := Unescape(value)
		if err != nil {
			p.err = fmt.Errorf("%.40s: %w", name, err)
			return "", "", false
		}
		value = plain
	}
	return name, value, true
}

// must takes the line with that name.
func (p *parser) must(want string) string {
	name, value, ok := p.next()
	if p.err == nil && (!ok || name != want) {
		p.err = fmt.Errorf("%s: missing, or not in its place", want)
	}
	return value
}

// may takes the next line if it has that name.
func (p *parser) may(want string) string {
	if !strings.HasPrefix(p.rest, want+": ") {
		return ""
	}
	return p.must(want)
}

func (p *parser) entry() (e Entry, err error) {
	var ok bool
	if p.rest, ok = strings.CutPrefix(p.rest, firstLine+"\n"); !ok {
		return e, fmt.Errorf("the first line is not %q", firstLine)
	}
	e.Origin = p.must("origin")
	index, root := p.must("index"), p.must("root")
	e.Kind = Kind(p.must("kind"))
	moment := p.must("time")
	e.Zone = p.must("zone")
	uptime := p.must("uptime")
	e.Boot, e.Version = p.must("boot"), p.must("version")
	e.Run, e.Path = p.may("run"), p.may("path")
	if n := strings.Count(p.rest, "\n"); n > 0 {
		e.Fields = make([]Field, 0, n)
	}
	for {
		name, value, ok := p.next()
		if !ok {
			break
		}
		e.Fields = append(e.Fields, Field{name, value})
	}
	if p.err != nil {
		return e, p.err
	}
	if p.known {
		return e, e.numbers(index, root, moment, uptime)
	}
	if e.Index, err = parseCount(index); err != nil {
		return e, fmt.Errorf("index: %w", err)
	}
	if e.Root, err = ParseHash(root); err != nil {
		return e, fmt.Errorf("root: %w", err)
	}
	if e.Time, err = parseTime(moment); err != nil {
		return e, fmt.Errorf("time: %w", err)
	}
	if e.Uptime, err = ParseNumber(uptime); err != nil {
		return e, fmt.Errorf("uptime: %w", err)
	}
	return e, nil
}

// numbers reads what the header of a known entry has beside words.
func (e *Entry) numbers(index, root, moment, uptime string) (err error) {
	if e.Index, err = strconv.ParseInt(index, 10, 64); err != nil {
		return fmt.Errorf("index: %w", err)
	}
	raw, err := base64.StdEncoding.AppendDecode(make([]byte, 0, 33), []byte(root))
	if err != nil || len(raw) != len(e.Root) {
		return fmt.Errorf("root: %.50q is not a hash", root)
	}
	e.Root = [32]byte(raw)
	if e.Time, err = time.Parse(timeLayout, moment); err != nil {
		return fmt.Errorf("time: %w", err)
	}
	if e.Uptime, err = strconv.ParseFloat(uptime, 64); err != nil {
		return fmt.Errorf("uptime: %w", err)
	}
	return nil
}
