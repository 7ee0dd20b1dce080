package bay

import (
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"unicode"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

var (
	action    = regexp.MustCompile(`(?s)\{\{.*?\}\}`)
	tag       = regexp.MustCompile(`(?s)<[^>]*>`)
	attribute = regexp.MustCompile(`(?:title|aria-label|placeholder|alt|label)="([^"]*)"`)
	called    = regexp.MustCompile(`\bt "([^"]+)"`)
	composed  = regexp.MustCompile(`t \(printf "([a-z ]+)%s"`)
)

// TestTemplatesHaveNoText wants every visible word of the pages to come from
// the wording. Units on the air's fields are the same in every language.
func TestTemplatesHaveNoText(t *testing.T) {
	files, err := filepath.Glob("page/*.html")
	require.NoError(t, err)
	require.Greater(t, len(files), 10)
	for _, name := range files {
		text, err := os.ReadFile(name)
		require.NoError(t, err)
		bare := action.ReplaceAllString(string(text), "")
		for _, m := range attribute.FindAllStringSubmatch(bare, -1) {
			assert.NotRegexp(t, `\pL`, m[1], "%s: %s", name, m[0])
		}
		visible := strings.NewReplacer("°C", "", "&gt;", "", "&lt;", "").Replace(tag.ReplaceAllString(bare, " "))
		if i := strings.IndexFunc(visible, unicode.IsLetter); i >= 0 {
			assert.Fail(t, "a visible word stands in a template", "%s: %.60q", name, visible[i:])
		}
	}
}

// TestScriptHasNoText: no string of the script is a sentence.
func TestScriptHasNoText(t *testing.T) {
	text, err := os.ReadFile("page/bay.js")
	require.NoError(t, err)
	code := regexp.MustCompile(`(?m)//.*$`).ReplaceAllString(string(text), "")
	strs := regexp.MustCompile(`"([^"\n]*)"`).FindAllStringSubmatch(code, -1)
	require.Greater(t, len(strs), 30)
	for _, m := range strs {
		assert.NotRegexp(t, `[a-z]{2,} [a-z]{2,} [a-z]{2,}`, m[1])
	}
}

// TestWordingIsUsed: every text that templates and program name is there, and
// every text that is there is named.
func TestWordingIsUsed(t *testing.T) {
	w := BuiltInWording()
	named := map[string]bool{"language": true, "decimal": true, "numbers": true}
	var all strings.Builder
	require.NoError(t, fs.WalkDir(os.DirFS("."), ".", func(path string, d fs.DirEntry, err error) error {
		if err == nil && !strings.HasSuffix(path, "_test.go") && (strings.HasSuffix(path, ".go") || strings.HasSuffix(path, ".html")) {
			b, rerr := os.ReadFile(path)
			all.Write(b)
			return rerr
		}
		return err
	}))
	for _, m := range called.FindAllStringSubmatch(all.String(), -1) {
		assert.True(t, w.has(m[1]), "there is no text %q", m[1])
	}
	for _, m := range regexp.MustCompile(`(?:say|fault|wrong)\((?:http\.\w+, )?"([^"]+)"`).FindAllStringSubmatch(all.String(), -1) {
		if !strings.HasSuffix(m[1], " ") {
			assert.True(t, w.has(m[1]), "there is no text %q", m[1])
		}
	}
	families := []string{"outcome ", "role ", "kind ", "bound ", "state ", "decision ", "status ", "section ", "about ", "choice ", "item ", "quantity ", "say ", "ask ", "title "}
	for _, m := range composed.FindAllStringSubmatch(all.String(), -1) {
		assert.Contains(t, families, m[1])
	}
	for _, name := range w.names() {
		base := strings.TrimSuffix(name, " hint")
		ok := named[name] || strings.Contains(all.String(), `"`+base+`"`)
		for _, f := range families {
			ok = ok || strings.HasPrefix(name, f)
		}
		assert.True(t, ok, "%q is never used", name)
	}
}

func TestParseWording(t *testing.T) {
	_, faults := ParseWording("w.txt", builtIn)
	assert.Empty(t, faults)
	for _, c := range []struct{ old, text, want string }{
		{"wet = wet\n", "", `has no text for "wet"`},
		{"wet = wet\n", "wet = nass\nwet = feucht\n", `"wet" was given before`},
		{"wet = wet\n", "wet\n", "is not a text with its name"},
		{"wet = wet\n", "wet =\n", `"wet" has no text`},
		{"decimal = .\n", "decimal = ;\n", "neither a point nor a comma"},
		{"numbers = words\n", "numbers = some\n", "neither words nor digits"},
		{"{person} saw it, and signs", "signed", `the same {places}`},
	} {
		require.Contains(t, builtIn, c.old)
		_, faults := ParseWording("w.txt", strings.Replace(builtIn, c.old, c.text, 1))
		require.True(t, faults.Errors(), c.want)
		var all strings.Builder
		for _, f := range faults {
			all.WriteString(f.Error() + "\n")
		}
		assert.Contains(t, all.String(), c.want)
	}
	_, err := BuiltInWording().T("step of", "n", 1, "totally", 2)
	assert.ErrorContains(t, err, "has no place")
}

// comma is the built-in wording as a language with a decimal comma has it.
func comma(t *testing.T) *Wording {
	t.Helper()
	text := strings.NewReplacer("decimal = .\n", "decimal = ,\n", "numbers = words\n", "numbers = digits\n", "say point = point", "say point = Komma").Replace(builtIn)
	w, faults := ParseWording("w.txt", text)
	require.Empty(t, faults)
	return w
}
