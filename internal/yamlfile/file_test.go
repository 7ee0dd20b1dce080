package yamlfile_test

import (
	"crypto/sha256"
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"hvproof/internal/diag"
	"hvproof/internal/yamlfile"
)

// parse reads a text that must be without fault.
func parse(t *testing.T, text string) *yamlfile.File {
	f, list := yamlfile.Parse("f.yaml", []byte(text))
	require.Empty(t, list, text)
	require.NotNil(t, f.Root)
	return f
}

func TestTextStaysAsWritten(t *testing.T) {
	for _, text := range []string{
		"1.10", "1.0", "0x10", "0o17", "010", "1e3", "yes", "no", "on", "off", "null", "~", "true", "2027-06-30", "12:30", ".5",
		"1_000", "+5", "NaN", ".inf", "4.7 kΩ", "x#y", "1.02 mF ±10%", "47..53 Ω", "-5", "packs.*.capacity", "500 Ω/V * a.b",
	} {
		f := parse(t, "revision: "+text+"\n")
		n, ok := f.Root.Get("revision")
		require.True(t, ok)
		s := n.Scalar()
		assert.Equal(t, text, s.Text)
		assert.True(t, s.Direct)
		assert.Equal(t, diag.Place{File: "f.yaml", Line: 1, Column: 11}, s.At)
		assert.Equal(t, "revision: "+text, s.Source)
	}
}

func TestScalarPlaces(t *testing.T) {
	tests := []struct {
		name, yaml, text string
		line, column     int
		direct, block    bool
	}{
		{"plain", "µ: a + b\n", "a + b", 1, 4, true, false},
		{"single quotes", "µ: 'a: b'\n", "a: b", 1, 5, true, false},
		{"double quotes", "µ: \"a: b\"\n", "a: b", 1, 5, true, false},
		{"empty quotes", "µ: ''\n", "", 1, 5, true, false},
		{"doubled quote", "µ: 'it''s'\n", "it's", 1, 4, false, false},
		{"escape", "µ: \"a\\tb\"\n", "a\tb", 1, 4, false, false},
		{"two lines", "µ: a\n  b\n", "a b", 1, 4, false, false},
		{"two lines in quotes", "µ: 'a\n  b'\n", "a b", 1, 4, false, false},
		{"literal", "µ: |\n  a\n  b\n", "a\nb\n", 1, 4, false, true},
		{"folded", "µ: >-\n  a\n  b\n", "a b", 1, 4, false, true},
		{"literal of one line", "µ: |-\n  a\n", "a", 1, 4, false, true},
		{"in braces", "{Ω: 1, µ: kΩ}\n", "kΩ", 1, 11, true, false},
		{"comment", "µ: a + b  # c\n", "a + b", 1, 4, true, false},
		{"carriage returns", "x: 1\r\nµ: a + b\r\n", "a + b", 2, 4, true, false},
		{"byte order mark", "\uFEFFµ: a + b\n", "a + b", 1, 4, true, false},
		{"after the document mark", "---\nµ: a\n", "a", 2, 4, true, false},
		{"on the next line", "µ:\n  a + b\n", "a + b", 2, 3, true, false},
	}
	for _, tt := range tests {
		f := parse(t, tt.yaml)
		n, ok := f.Root.Get("µ")
		require.True(t, ok, tt.name)
		s := n.Scalar()
		assert.Equal(t, tt.text, s.Text, tt.name)
		assert.Equal(t, diag.Place{File: "f.yaml", Line: tt.line, Column: tt.column}, s.At, tt.name)
		assert.Equal(t, tt.direct, s.Direct, tt.name)
		assert.Equal(t, tt.block, s.Block, tt.name)
		assert.Equal(t, tt.direct, f.OneLine(s, "a formula") == nil, tt.name)
	}
}

func TestProblemHelpers(t *testing.T) {
	f := parse(t, "a: 1\nat_least: '500 Ω/V * sistem.max'\nnote: |\n  x\n")
	n, _ := f.Root.Get("at_least")
	s := n.Scalar()
	p := f.Inside(s, strings.Index(s.Text, "sistem"), 10, `did you mean "system.max"?`, "there is no %q", "sistem.max")
	assert.Equal(t, `f.yaml:2:22: there is no "sistem.max"; did you mean "system.max"?`, p.Error())
	assert.Equal(t, "at_least: '500 Ω/V * sistem.max'\n                     ^^^^^^^^^^", p.Excerpt())
	assert.Equal(t, "at_least: '500 Ω/V * sistem.max'\n           ^^^^^^^^^^^^^^^^^^^^", f.At(s, "", "wrong").Excerpt())
	assert.Equal(t, f.At(s, "", "wrong"), f.Inside(s, 999, 1, "", "wrong"))
	assert.Equal(t, f.At(s, "", "wrong"), f.Inside(s, -1, 1, "", "wrong"))

	n, _ = f.Root.Get("note")
	list := f.OneLine(n.Scalar(), "a formula")
	require.Len(t, list, 1)
	assert.Equal(t, "f.yaml:3:7: a formula must stand in one line, as it is; write it in one line, without quotes or in simple ones", list[0].Error())
	assert.Equal(t, "note: |\n      ^", list[0].Excerpt())
	assert.Equal(t, "", f.Line(0))
	assert.Equal(t, "", f.Line(99))
	assert.Equal(t, "a: 1", f.Line(1))
}

func TestBadBytes(t *testing.T) {
	utf16 := func(bom string, high, low int) string {
		b := []byte(bom)
		for _, c := range "name: Sandpiper\n" {
			pair := [2]byte{}
			pair[high], pair[low] = 0, byte(c)
			b = append(b, pair[:]...)
		}
		return string(b)
	}
	tests := []struct{ name, bytes, want string }{
		{"empty", "", "f.yaml: is empty"},
		{"spaces", " \n\n", "f.yaml: is empty"},
		{"only a byte order mark", "\uFEFF", "f.yaml: is empty"},
		{"UTF-16 little endian", utf16("\xFF\xFE", 1, 0), "f.yaml: is UTF-16 text; save it as UTF-8 text"},
		{"UTF-16 big endian", utf16("\xFE\xFF", 0, 1), "f.yaml: is UTF-16 text; save it as UTF-8 text"},
		{"UTF-16 without mark", utf16("", 1, 0), "f.yaml: is UTF-16 text; save it as UTF-8 text"},
		{"UTF-16 big endian without mark", utf16("", 0, 1), "f.yaml: is UTF-16 text; save it as UTF-8 text"},
		{"UTF-32", "\xFF\xFE\x00\x00a\x00\x00\x00", "f.yaml: is UTF-32 text; save it as UTF-8 text"},
		{"NUL", "a: x\x00\n", "f.yaml:1:5: holds a NUL byte; is it a text file?"},
		{"NUL first", "\x00\n", "f.yaml:1:1: holds a NUL byte; is it a text file?"},
		{"Latin-1", "name: Jos\xe9\n", "f.yaml:1:10: holds a byte (hexadecimal E9) that is not UTF-8 text; save it as UTF-8 text"},
		{"bell", "a: x\x07\n", "f.yaml:1:5: holds the invisible character U+0007; delete it"},
		{"escape sequence", "a: \x1b[31m\n", "f.yaml:1:4: holds the invisible character U+001B; delete it"},
		{"next line", "a: x\u0085b: y\n", "f.yaml:1:5: holds the invisible character U+0085; delete it"},
		{"line separator", "a: x\u2028b: y\n", "f.yaml:1:5: holds the invisible character U+2028; delete it"},
		{"right-to-left", "a: x\u202Ey\n", "f.yaml:1:5: holds the invisible character U+202E; delete it"},
		{"zero width", "a\u200B: x\n", "f.yaml:1:2: holds the invisible character U+200B; delete it"},
		{"mark in the middle", "a: x\n\uFEFFb: y\n", "f.yaml:2:1: holds the invisible character U+FEFF; delete it"},
		{"carriage return", "a: x\rb: y\n", "f.yaml:1:5: holds a carriage return within a line; end lines with a line feed"},
		{"escaped NUL", "a: \"\\0\"\n", "f.yaml:1:4: holds the invisible character U+0000; write the text without it"},
		{"escaped right-to-left", "a: \"\\u202E\"\n", "f.yaml:1:4: holds the invisible character U+202E; write the text without it"},
		{"several", "a: \x07\n\tb: 1\nc: \xff\n", "f.yaml:1:4: holds the invisible character U+0007; delete it\nf.yaml:2:1: the indentation holds a tab; indent with spaces\nf.yaml:3:4: holds a byte (hexadecimal FF) that is not UTF-8 text; save it as UTF-8 text"},
	}
	for _, tt := range tests {
		f, list := yamlfile.Parse("f.yaml", []byte(tt.bytes))
		assert.Equal(t, tt.want+"\n", list.String(), tt.name)
		assert.True(t, list.Errors(), tt.name)
		if strings.HasPrefix(tt.name, "escaped") {
			continue // the file is YAML, and may be looked at for more faults
		}
		assert.Nil(t, f.Root, tt.name)
		var c car
		assert.Equal(t, list, f.Decode(&c), "%s: a file that was not read cannot be decoded", tt.name)
	}
}

func TestTruncatedFile(t *testing.T) {
	f, list := yamlfile.Parse("f.yaml", []byte("a: 1\nb: 25"))
	assert.Equal(t, "f.yaml:2: the last line has no line break at its end; was the file cut off?\n", list.String())
	assert.False(t, list.Errors(), "a warning: editors leave it out")
	require.NotNil(t, f.Root)

	// Cut anywhere, a file of maps in braces is either refused or warned of.
	whole := "packs: {left: {cells: 96, path: '2.4 mΩ'}}\n"
	for n := 1; n < len(whole); n++ {
		_, list := yamlfile.Parse("f.yaml", []byte(whole[:n]))
		assert.NotEmpty(t, list, whole[:n])
	}
}

func TestDigest(t *testing.T) {
	b := []byte("\uFEFFa: 1\r\n")
	f, _ := yamlfile.Parse("f.yaml", b)
	assert.Equal(t, sha256.Sum256(b), f.Digest, "of the bytes as they are")
	assert.Equal(t, b, f.Bytes)
}

// Whatever words a map holds, they come back as written, in order, with the
// place where they stand.
func TestWordsComeBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		words := rapid.SliceOfNDistinct(rapid.StringMatching(`[a-zΩµ][a-z0-9_Ω]{0,6}`), 1, 8, rapid.ID).Draw(t, "words")
		values := rapid.SliceOfN(rapid.StringMatching(`[0-9a-zΩ.]([0-9a-zΩ%. ]*[0-9a-zΩ%.])?`), len(words), len(words)).Draw(t, "values")
		var b strings.Builder
		for i, w := range words {
			fmt.Fprintf(&b, "%s: %s\n", w, values[i])
		}
		f, list := yamlfile.Parse("f.yaml", []byte(b.String()))
		require.Empty(t, list)
		var m yamlfile.Map[yamlfile.Scalar]
		require.Empty(t, f.Decode(&m))
		require.Equal(t, len(words), m.Len())
		for i, key := range m.Keys() {
			require.Equal(t, words[i], key.Text)
			require.Equal(t, diag.Place{File: "f.yaml", Line: i + 1, Column: 1}, key.At)
			v, ok := m.Get(key.Text)
			require.True(t, ok)
			require.Equal(t, values[i], v.Text)
			require.True(t, v.Direct)
			line := []rune(f.Line(v.At.Line))
			require.Equal(t, values[i], string(line[v.At.Column-1:]))
		}
	})
}

func FuzzParse(f *testing.F) {
	for _, s := range []string{
		"format: 1\nname: Sandpiper\npacks:\n  left: {cells: {series: 96, max: 4.20 V}}\n", "a: [1, 2\n", "a: 'x\n", "a: &x 1\nb: *x\n", "<<: {a: 1}\n",
		"a: |\n  x\n y\n", "\uFEFFa: 1\r\n", "a: >2 GΩ\n", "%YAML 1.2\n---\n", "a:\tb\n", "? [a]\n: b\n", "\x00", "\xff\xfe", "a: !!binary =\n", "a: 1\n---\nb: 2\n", "- - - a\n", "-\n%%%%%\n",
	} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		file, list := yamlfile.Parse("f.yaml", b)
		if file.Root == nil && !list.Errors() {
			t.Fatal("nothing read and nothing said")
		}
		var c car
		for _, p := range append(list, file.Decode(&c)...) {
			text := p.Error() + p.Excerpt()
			for _, word := range []string{"go-yaml", "libyaml", "yamlfile.", "unmarshal", "cannot be read as YAML"} {
				if strings.Contains(text, word) && !strings.Contains(string(b), word) {
					t.Fatalf("%q: %s", b, text)
				}
			}
			for _, r := range text {
				if r < ' ' && r != '\n' {
					t.Fatalf("%q: control character in %q", b, text)
				}
			}
		}
		if file.Root != nil {
			check(t, file, file.Root)
		}
	})
}

// check walks a tree: every place lies in the file, every direct text stands
// where it says.
func check(t *testing.T, f *yamlfile.File, n *yamlfile.Node) {
	scalar := func(s yamlfile.Scalar) {
		if s.At.Line < 1 || s.At.Column < 1 || s.Source != f.Line(s.At.Line) {
			t.Fatalf("%+v", s)
		}
		if line := []rune(s.Source); s.Direct && !strings.HasPrefix(string(line[s.At.Column-1:]), s.Text) {
			t.Fatalf("%+v", s)
		}
	}
	scalar(n.Scalar())
	for _, p := range n.Pairs() {
		scalar(p.Key)
		check(t, f, p.Value)
	}
	for _, item := range n.Items() {
		check(t, f, item)
	}
}
