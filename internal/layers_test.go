// Package internal holds no code of its own; this test keeps its walls.
package internal

import (
	"bytes"
	"encoding/json"
	"errors"
	"io"
	"io/fs"
	"os"
	"os/exec"
	"path"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

const module = "hvproof/"

// listed is what the Go tool knows of a package of ours.
type listed struct {
	ImportPath             string
	GoFiles, Imports, Deps []string
}

// name is the package as the table writes it.
func (p listed) name() string { return strings.TrimPrefix(p.ImportPath, module) }

// isTestOnly reports whether a package stands outside the table: it is
// imported by tests alone, and says so in its name.
func isTestOnly(name string) bool { return strings.HasSuffix(name, "test") }

// list asks the Go tool for all packages of the module.
func list(t *testing.T) []listed {
	t.Helper()
	command := exec.Command("go", "list", "-json=ImportPath,GoFiles,Imports,Deps", "./...")
	command.Dir = ".."
	var complaint bytes.Buffer
	command.Stderr = &complaint
	out, err := command.Output()
	require.NoError(t, err, complaint.String())
	var all []listed
	for d := json.NewDecoder(bytes.NewReader(out)); ; {
		var p listed
		err := d.Decode(&p)
		if errors.Is(err, io.EOF) {
			break
		}
		require.NoError(t, err)
		if len(p.GoFiles) > 0 {
			all = append(all, p)
		}
	}
	require.Greater(t, len(all), 15, "the Go tool lists hardly any package")
	return all
}

// A row is one row of the table: where a package stands, and what it may
// import.
type row struct {
	level string
	may   []string
	any   bool // "everything above"
}

var quoted = regexp.MustCompile("`([^`]+)`")

// layers reads the table under "## Layers" of DEVELOPERS.md.
func layers(t *testing.T) map[string]row {
	t.Helper()
	text, err := os.ReadFile("../DEVELOPERS.md")
	require.NoError(t, err)
	_, rest, found := strings.Cut(string(text), "\n## Layers\n")
	require.True(t, found, "DEVELOPERS.md has no section Layers")
	section, _, _ := strings.Cut(rest, "\n## ")
	rows := map[string]row{}
	for line := range strings.Lines(section) {
		cells := strings.Split(strings.TrimSpace(line), "|")
		if len(cells) != 5 || !quoted.MatchString(cells[2]) {
			continue
		}
		name := quoted.FindStringSubmatch(cells[2])[1]
		r := row{level: strings.TrimSpace(cells[1]), any: strings.Contains(cells[3], "everything above")}
		for _, m := range quoted.FindAllStringSubmatch(cells[3], -1) {
			r.may = append(r.may, m[1])
		}
		require.NotContains(t, rows, name, "DEVELOPERS.md has %s twice", name)
		rows[name] = r
	}
	require.Greater(t, len(rows), 15, "DEVELOPERS.md has hardly a row of the table")
	return rows
}

// TestLayers holds the imports against the table of DEVELOPERS.md.
func TestLayers(t *testing.T) {
	rows := layers(t)
	for _, p := range list(t) {
		name := p.name()
		if isTestOnly(name) {
			continue
		}
		r, ok := rows[name]
		if !assert.True(t, ok, "%s is not in the table (see DEVELOPERS.md, Layers)", name) {
			continue
		}
		for _, to := range p.Imports {
			imported, ours := strings.CutPrefix(to, module)
			if !ours {
				continue
			}
			assert.False(t, isTestOnly(imported), "%s imports %s, which is for tests", name, imported)
			ofLevel0 := imported == "internal/diag" && r.level != "0"
			assert.True(t, r.any || ofLevel0 || slices.Contains(r.may, imported),
				"%s imports %s; allowed: %s (see DEVELOPERS.md, Layers)", name, imported, strings.Join(r.may, ", "))
		}
	}
}

// TestTablePointsDown holds the table itself against its own word: what a
// package may import stands on a lower level, or, within level 1, before it.
func TestTablePointsDown(t *testing.T) {
	rows := layers(t)
	for name, r := range rows {
		for _, may := range r.may {
			below, ok := rows[may]
			assert.True(t, ok, "%s may import %s, which is not in the table", name, may)
			assert.LessOrEqual(t, below.level, r.level, "%s (level %s) may import %s (level %s)", name, r.level, may, below.level)
			assert.NotContains(t, below.may, name, "%s and %s may import each other", name, may)
		}
	}
}

// TestThirdParties keeps each module of others behind its one wall.
func TestThirdParties(t *testing.T) {
	only := map[string][]string{
		"modernc.org/":              {"store"},
		"go.yaml.in/yaml/":          {"internal/yamlfile"},
		"github.com/go-playground/": {"internal/yamlfile"},
		"golang.org/x/mod/":         {"internal/ledger", "internal/bundle", "store", "cmd/hvproof"},
		"golang.org/x/crypto/":      {"internal/home"},
		"golang.org/x/term":         {"cmd/hvproof"},
		"codeberg.org/go-pdf/":      {"internal/report/pdf"},
		"rsc.io/qr":                 {"internal/bay", "internal/report/pdf"},
		"github.com/spf13/":         {"cmd/hvproof"},
	}
	library := func(path string) bool {
		first, _, _ := strings.Cut(path, "/")
		return strings.Contains(first, ".")
	}
	used := map[string]bool{}
	for _, p := range list(t) {
		if isTestOnly(p.name()) {
			continue
		}
		for _, path := range p.Imports {
			known := !library(path)
			for prefix, where := range only {
				if strings.HasPrefix(path, prefix) {
					known, used[prefix] = true, true
					assert.Contains(t, where, p.name(), "%s imports %s; it belongs only in: %s", p.name(), path, strings.Join(where, ", "))
				}
			}
			assert.True(t, known, "%s imports %s: a library without a wall around it", p.name(), path)
		}
	}
	for prefix := range only {
		assert.True(t, used[prefix], "nothing imports %s: the wall around it guards nothing", prefix)
	}
}

// TestVerifierIsSmall keeps what a verifier depends on free of everything
// that it does not need.
func TestVerifierIsSmall(t *testing.T) {
	not := []string{"go.yaml.in/", "github.com/go-playground/", "modernc.org/", "github.com/spf13/", "net/http", "database/sql"}
	checked := 0
	for _, p := range list(t) {
		if n := p.name(); n != "internal/audit" && n != "internal/ledger" {
			continue
		}
		checked++
		for _, dep := range p.Deps {
			for _, n := range not {
				assert.False(t, strings.HasPrefix(dep, n), "%s depends on %s", p.name(), dep)
			}
		}
	}
	assert.Equal(t, 2, checked, "internal/ledger and internal/audit are both there")
}

// forbidden are words that must not stand in Go files, with the files that
// may have them.
var forbidden = []struct {
	words   *regexp.Regexp
	where   []string
	inTests bool // tests may
	why     string
}{
	{regexp.MustCompile(`\bos\.Exit\(`), []string{"cmd/hvproof/main.go"}, true, "only main ends the program"},
	{regexp.MustCompile(`\blog\.Fatal`), nil, false, "only main ends the program"},
	{regexp.MustCompile(`\b[a-z]+\.(Skip|Skipf|SkipNow)\(`), nil, false, "a test that skips itself checks nothing"},
	{regexp.MustCompile(`\btesting\.Short\(`), nil, false, "a test that skips itself checks nothing"},
	{regexp.MustCompile(`\bfunc init\(\)`), nil, false, "nothing happens by being imported"},
	{regexp.MustCompile(`\b(TODO|FIXME|XXX)\b`), nil, false, "nothing is left half done"},
}

// eachFile gives do the name and the text of every Go file of the module. What
// the Go tool passes over, folders that begin with a dot, it passes over too.
func eachFile(t *testing.T, do func(name, text string)) {
	t.Helper()
	files := 0
	root := os.DirFS("..")
	err := fs.WalkDir(root, ".", func(name string, d fs.DirEntry, err error) error {
		switch {
		case err != nil:
			return err
		case d.IsDir() && name != "." && strings.HasPrefix(d.Name(), "."):
			return fs.SkipDir
		case d.IsDir() || path.Ext(name) != ".go":
			return nil
		}
		text, err := fs.ReadFile(root, name)
		files++
		do(name, string(text))
		return err
	})
	require.NoError(t, err)
	require.Greater(t, files, 150, "hardly a file was looked at")
}

// TestForbiddenWords looks through every Go file of the module.
func TestForbiddenWords(t *testing.T) {
	eachFile(t, func(name, text string) {
		if name == "internal/layers_test.go" {
			return
		}
		number := 0
		for line := range strings.Lines(text) {
			number++
			for _, f := range forbidden {
				if f.words.MatchString(line) && !slices.Contains(f.where, name) && !(f.inTests && strings.HasSuffix(name, "_test.go")) {
					t.Errorf("%s:%d: %s: %s", name, number, strings.TrimSpace(line), f.why)
				}
			}
		}
	})
}

// TestFileSizes keeps files short enough to be read in one go.
func TestFileSizes(t *testing.T) {
	eachFile(t, func(name, text string) {
		assert.LessOrEqual(t, strings.Count(text, "\n"), 600, "%s is longer than 600 lines: split it", name)
	})
}
