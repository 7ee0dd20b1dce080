package entry

import (
	"fmt"
	"strings"
)

// An Origin names one log for ever: `hvproof/CAR/DEVICE/RANDOM`, with
// `/practice` at the end where nothing in the log is evidence. The parts are
// lower-case letters, digits, '.', '_' and '-', and begin with a letter or digit.
type Origin struct {
	Car, Device, Random string
	Practice            bool
}

// isOriginPart and its like are written out, not regular expressions: they are
// asked for every entry that is verified.
func isOriginPart(s string) bool {
	if s == "" || len(s) > 64 || !isLowerOrDigit(s[0]) {
		return false
	}
	for i := range len(s) {
		if c := s[i]; !isLowerOrDigit(c) && c != '.' && c != '_' && c != '-' {
			return false
		}
	}
	return true
}

func isLowerOrDigit(c byte) bool { return c >= 'a' && c <= 'z' || c >= '0' && c <= '9' }

// ParseOrigin reads an origin as [Origin.String] prints it.
func ParseOrigin(text string) (Origin, error) {
	parts := strings.Split(text, "/")
	ok := parts[0] == "hvproof" && (len(parts) == 4 || len(parts) == 5 && parts[4] == "practice")
	for i := 1; ok && i < 4; i++ {
		ok = isOriginPart(parts[i])
	}
	if !ok {
		return Origin{}, fmt.Errorf("%.80q is not the origin of a log: hvproof/CAR/DEVICE/RANDOM, with /practice at the end for practice", text)
	}
	return Origin{Car: parts[1], Device: parts[2], Random: parts[3], Practice: len(parts) == 5}, nil
}

// String prints the origin as it stands in entries and checkpoints.
func (o Origin) String() string {
	s := "hvproof/" + o.Car + "/" + o.Device + "/" + o.Random
	if o.Practice {
		s += "/practice"
	}
	return s
}

// OriginPart makes a part of an origin out of a free name: lower case, with
// '-' for every run of characters that an origin does not allow. A name that
// leaves nothing gives "car".
func OriginPart(name string) string {
	var b strings.Builder
	for _, r := range strings.ToLower(name) {
		switch {
		case r >= 'a' && r <= 'z' || r >= '0' && r <= '9':
			b.WriteRune(r)
		case b.Len() > 0 && !strings.HasSuffix(b.String(), "-"):
			b.WriteByte('-')
		}
		if b.Len() == 64 {
			break
		}
	}
	if s := strings.TrimRight(b.String(), "-"); s != "" {
		return s
	}
	return "car"
}
