package bundle

import (
	"encoding/hex"
	"fmt"
	"regexp"
	"strconv"
	"strings"
)

// A section is a group of members; they stand in this order.
type section int

const (
	inManifest section = iota
	inFiles
	inHead // of a log: checkpoint, cosigners, keys, entries
	inCosigners
	inKeys
	inEntries
	inBlobs
)

// A place says what a member is, and thereby where it stands.
type place struct {
	section section
	log     int    // of a log's members, from 0
	index   int64  // of an entry
	name    string // of a file or key
	digest  [32]byte
}

const (
	checkpointName = "checkpoint"
	cosignersName  = "cosigners"
)

var (
	logMember = regexp.MustCompile(`^log-([1-9][0-9]{0,3})/(.*)$`)
	keyMember = regexp.MustCompile(`^keys/[a-z][a-z0-9.-]{0,62}-[0-9a-f]{8}\.(pem|pub)$`)
)

func entryName(index int64) string { return fmt.Sprintf("entries/%06d.note", index) }

func logFolder(log int) string { return fmt.Sprintf("log-%d/", log+1) }

// locate reads a member's name. Names that Write does not give do not exist.
func locate(name string) (place, bool) {
	if name == manifestName {
		return place{section: inManifest}, true
	}
	if digits, ok := strings.CutPrefix(name, "blobs/"); ok {
		raw, err := hex.DecodeString(digits)
		if err != nil || len(raw) != 32 || hex.EncodeToString(raw) != digits {
			return place{}, false
		}
		return place{section: inBlobs, digest: [32]byte(raw), name: digits}, true
	}
	if fileName.MatchString(name) {
		return place{section: inFiles, name: name}, true
	}
	match := logMember.FindStringSubmatch(name)
	if match == nil {
		return place{}, false
	}
	n, err := strconv.Atoi(match[1])
	if err != nil || n > maxLogs {
		return place{}, false
	}
	p := place{log: n - 1}
	switch rest := match[2]; {
	case rest == checkpointName:
		p.section = inHead
	case rest == cosignersName:
		p.section = inCosigners
	case keyMember.MatchString(rest):
		p.section, p.name = inKeys, rest
	case strings.HasPrefix(rest, "entries/") && strings.HasSuffix(rest, ".note"):
		p.section = inEntries
		p.index, err = strconv.ParseInt(rest[len("entries/"):len(rest)-len(".note")], 10, 64)
		return p, err == nil && p.index >= 0 && entryName(p.index) == rest
	default:
		return place{}, false
	}
	return p, true
}

// before reports whether a member p stands before q: files by name, then the
// logs one after the other, then blobs.
func (p place) before(q place) bool {
	group := func(x place) int {
		switch x.section {
		case inManifest, inFiles:
			return int(x.section) - 2
		case inBlobs:
			return maxLogs + 1
		}
		return x.log
	}
	if a, b := group(p), group(q); a != b {
		return a < b
	}
	if p.section != q.section {
		return p.section < q.section
	}
	if p.index != q.index {
		return p.index < q.index
	}
	return p.name < q.name
}

// limit is how many bytes a member may have.
func (p place) limit() int64 {
	switch p.section {
	case inManifest:
		return maxManifest
	case inHead, inCosigners:
		return maxHead
	case inKeys:
		return maxKey
	case inEntries:
		return maxNote
	case inFiles:
		return maxBeside
	}
	return maxBlob
}
