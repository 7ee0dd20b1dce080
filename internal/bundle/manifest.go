package bundle

import (
	"encoding/hex"
	"regexp"
	"slices"
	"strings"
	"time"

	"hvproof/internal/entry"
)

// A Manifest is the first member, bundle.txt: what the bundle says of itself.
// It is signed by nobody and proves nothing; what it says of logs is held
// against the logs.
type Manifest struct {
	Made     time.Time // UTC, to the nanosecond
	Program  string    // name and version of the program that made it
	Practice bool      // a log in it is practice
	Logs     []string  // their origins, sorted
	Files    []File    // beside the logs, sorted by name
}

// A File is a file beside the logs: of the car folder, or a report.
type File struct {
	Name   string // car/vehicle.yaml, report.txt
	Digest [32]byte
}

const (
	manifestName  = "bundle.txt"
	manifestLine  = "hvproof bundle 1"
	maxManifest   = 1 << 20
	maxLogs       = 1000
	reportName    = "report.txt"
	carFolderName = "car/"
)

// fileName is what a file beside the logs may be called: plain ASCII, no part
// that begins with a dot.
var fileName = regexp.MustCompile(`^(report\.txt|car(/[A-Za-z0-9_-][A-Za-z0-9._-]*){1,4})$`)

// CarFile gives the name under which a bundle keeps a file of the car folder;
// false where the file's name is not plain enough to be carried elsewhere.
func CarFile(name string) (string, bool) {
	name = carFolderName + name
	return name, fileName.MatchString(name) && len(name) <= 200
}

// marshal prints the manifest.
func (m *Manifest) marshal() ([]byte, error) {
	program, err := entry.Escape(m.Program)
	if err != nil {
		return nil, err
	}
	var b strings.Builder
	line := func(name, value string) { b.WriteString(name + ": " + value + "\n") }
	b.WriteString(manifestLine + "\n")
	line("made", entry.FormatTime(m.Made))
	line("program", program)
	line("practice", map[bool]string{true: "yes", false: "no"}[m.Practice])
	for _, o := range m.Logs {
		line("log", o)
	}
	for _, f := range m.Files {
		line("file", hex.EncodeToString(f.Digest[:])+" "+f.Name)
	}
	return []byte(b.String()), nil
}

// parseManifest reads what marshal prints and nothing else.
func parseManifest(text []byte) (*Manifest, error) {
	bad := func(line string) error {
		return malformed("%s: %.80q is not a line that stands there", manifestName, line)
	}
	lines := strings.Split(string(text), "\n")
	if lines[0] != manifestLine {
		return nil, malformed("%s: the first line is not %q: another kind of file, or of a newer version", manifestName, manifestLine)
	}
	m := &Manifest{}
	for _, l := range lines[1 : len(lines)-1] {
		name, value, _ := strings.Cut(l, ": ")
		switch name {
		case "made":
			m.Made, _ = time.Parse("2006-01-02T15:04:05.000000000Z", value)
		case "program":
			plain, err := entry.Unescape(value)
			if err != nil {
				return nil, bad(l)
			}
			m.Program = plain
		case "practice":
			m.Practice = value == "yes"
		case "log":
			if _, err := entry.ParseOrigin(value); err != nil || len(m.Logs) == maxLogs {
				return nil, bad(l)
			}
			m.Logs = append(m.Logs, value)
		case "file":
			digest, file, _ := strings.Cut(value, " ")
			raw, err := hex.DecodeString(digest)
			if err != nil || len(raw) != 32 || !fileName.MatchString(file) {
				return nil, bad(l)
			}
			m.Files = append(m.Files, File{file, [32]byte(raw)})
		default:
			return nil, bad(l)
		}
	}
	again, err := m.marshal()
	switch {
	case err != nil || string(again) != string(text) || m.Program == "":
		return nil, malformed("%s: not spelled as it would be printed", manifestName)
	case !ascending(m.Logs) || len(m.Logs) == 0:
		return nil, malformed("%s: the logs are not in order, or there are none", manifestName)
	}
	var names []string
	seen := map[string]bool{}
	for _, f := range m.Files {
		names = append(names, f.Name)
		small := strings.ToLower(f.Name)
		if seen[small] {
			return nil, malformed("%s: %s is there in capitals and in small letters: where it is unpacked one may take the other's place", manifestName, small)
		}
		seen[small] = true
	}
	if !ascending(names) {
		return nil, malformed("%s: the files are not in order", manifestName)
	}
	return m, nil
}

// ascending reports whether names are sorted and each is there once.
func ascending(names []string) bool {
	return slices.IsSorted(names) && len(slices.Compact(slices.Clone(names))) == len(names)
}
