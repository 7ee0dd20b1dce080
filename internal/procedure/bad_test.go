package procedure

import (
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/internal/diag"
	"hvproof/internal/yamlfile"
)

var wanted = regexp.MustCompile(`### ("(?:[^"\\]|\\.)*")`)

// TestBad checks the chunks of testdata/bad.txt: the faults that a file has
// are those that its comments name, at their lines, and no other.
func TestBad(t *testing.T) {
	fx := load(t, read(t, "car.yaml"))
	good := parse(t, string(read(t, "good.yaml")))
	chunks := strings.Split(string(read(t, "bad.txt")), "---\n")
	assert.Len(t, chunks, 24)
	named := 0
	for i, chunk := range chunks {
		t.Run(strconv.Itoa(i+1), func(t *testing.T) {
			f, problems := yamlfile.Parse("bad.yaml", []byte(chunk))
			require.Empty(t, problems)
			p, problems := Parse(f)
			if p != nil {
				l := fx.library(t, good, p)
				for _, one := range l.Check(fx.car, fx.book) {
					if one.File == "bad.yaml" {
						problems.Add(one)
					}
				}
			}
			for n, line := range strings.Split(chunk, "\n") {
				for _, m := range wanted.FindAllStringSubmatch(line, -1) {
					want, err := strconv.Unquote(m[1])
					require.NoError(t, err)
					named++
					assert.True(t, take(&problems, n+1, want), "line %d: %s", n+1, want)
				}
			}
			assert.Empty(t, problems, "not named in the file:\n%s", problems)
		})
	}
	assert.Greater(t, named, 80)
}

// take removes the problem at the line that says what is wanted.
func take(problems *diag.List, line int, want string) bool {
	for i, p := range *problems {
		if p.Line == line && strings.Contains(p.Message, want) {
			*problems = append((*problems)[:i:i], (*problems)[i+1:]...)
			return true
		}
	}
	return false
}
