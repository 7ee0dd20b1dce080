package entry

import (
	"math"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func sample() Entry {
	e := Entry{Header: Header{
		Origin: "hvproof/sandpiper/bench-1/k3f9", Index: 3, Root: [32]byte{1, 2},
		Time: time.Date(2026, 3, 1, 8, 0, 7, 5, time.UTC), Zone: "+01:00", Uptime: 0.25, Boot: "b", Version: "v",
	}, Body: Body{Kind: Reading, Run: "k3f9-2", Path: "outside_right.left_minus.opens"}}
	e.AddNumber("attempt", 2)
	e.Add("text", "45.4 M\tΩ \\ \u202e")
	e.AddNumber("value", 4.54e7)
	e.Add("unit", "Ω")
	e.AddNumber("u", 0)
	e.AddFamily("result", "pass", "fail", "a", "b", "c", "d", "e", "f", "g", "h")
	return e
}

func TestMarshalParse(t *testing.T) {
	text, err := Marshal(sample())
	require.NoError(t, err)
	got, err := Parse(text)
	require.NoError(t, err)
	assert.Equal(t, sample(), got)
	assert.Contains(t, string(text), "\ntext: 45.4 M\\tΩ \\\\ \\u{202E}\n")
	assert.Contains(t, string(text), "\nresult 10: h\n")
	assert.Equal(t, []string{"pass", "fail", "a", "b", "c", "d", "e", "f", "g", "h"}, got.Family("result"))
}

// TestParseRefuses takes a good entry and spells one thing otherwise.
func TestParseRefuses(t *testing.T) {
	good, err := Marshal(sample())
	require.NoError(t, err)
	for _, c := range []struct{ old, with, want string }{
		{"hvproof entry 1", "hvproof entry 2", "first line"},
		{"index: 3", "index: 03", "index"},
		{"index: 3", "index: -3", "index"},
		{"index: 3\n", "", "index: missing"},
		{"index: 3\n", "index: 3\nindex: 3\n", "root: missing"},
		{"origin: hvproof/sandpiper", "origin: hvproof/Sandpiper", "origin"},
		{"AAAAAAA=\n", "AAAAAAB=\n", "root"},
		{"08:00:07.000000005Z", "08:00:07.5Z", "time"},
		{"08:00:07.000000005Z", "8:00:07.000000005Z", "time"},
		{"08:00:07.000000005Z", "08:00:07,000000005Z", "time"},
		{"08:00:07.000000005Z", "08:00:60.000000005Z", "time"},
		{"08:00:07.000000005Z", "08:00:07.000000005z", "time"},
		{"zone: +01:00", "zone: -00:00", "zone"},
		{"zone: +01:00", "zone: +01:60", "zone"},
		{"uptime: 0.25", "uptime: 0.250", "uptime"},
		{"uptime: 0.25", "uptime: -0.25", "uptime"},
		{"uptime: 0.25", "uptime: 2.5e-1", "uptime"},
		{"boot: b", "boot: ", "boot"},
		{"run: k3f9-2", "run: k3f9 2", "run"},
		{"path: outside", "path: .outside", "path"},
		{"attempt: 2", "attempt: 2.0", "attempt"},
		{"value: 45400000", "value: 45400000.0", "value"},
		{"value: 45400000", "value: +45400000", "value"},
		{"value: 45400000", "value: 0x2B4B", "value"},
		{"u: 0", "u: -0", "u"},
		{"u: 0", "u: NaN", "u"},
		{"u: 0", "u: Inf", "u"},
		{"result 2: fail", "result 02: fail", "result 02"},
		{"result 2: fail\n", "", "result 3"},
		{"result 2: fail\n", "result 2: \n", "result 2"},
		{"unit: Ω\n", "", ""}, // unit is optional: still an entry
		{"unit: Ω\n", "unit: Ω\nunit: Ω\n", "unit"},
		{"unit: Ω\n", "unti: Ω\n", "unti"},
		{"unit: Ω\n", "unit:Ω\n", "name: value"},
		{"unit: Ω\n", "unit: Ω\n\n", "name: value"},
		{"unit: Ω\n", "unit: Ω\r\n", "spelled"},
		{"unit: Ω\n", "unit: \u202eΩ\n", "spelled"},
		{"unit: Ω\n", "unit: \xff\n", "UTF-8"},
		{`\t`, "\t", "text"},
		{`\t`, `\u{9}`, "text"},
		{`\u{202E}`, `\u{202e}`, "text"},
		{`\u{202E}`, `\u{0202E}`, "text"},
		{`\u{202E}`, `\u{D800}`, "text"},
		{`\u{202E}`, `\u202E`, "text"},
		{`\\`, `\`, "text"},
		{"45.4", `\u{34}5.4`, "text"},
		{"kind: reading", "kind: wait", "seconds"},
	} {
		t.Run(c.old+"→"+c.with, func(t *testing.T) {
			bad := strings.Replace(string(good), c.old, c.with, 1)
			require.NotEqual(t, string(good), bad)
			_, err := Parse([]byte(bad))
			if c.want == "" {
				require.NoError(t, err)
				return
			}
			require.Error(t, err)
			assert.Contains(t, err.Error(), c.want)
		})
	}
	for n := range good {
		_, err := Parse(good[:n])
		if err == nil { // cut after a whole optional field at the end
			assert.Equal(t, byte('\n'), good[n-1])
		}
	}
}

func TestParseUnknownKind(t *testing.T) {
	good, err := Marshal(sample())
	require.NoError(t, err)
	e, err := Parse([]byte(strings.Replace(string(good), "kind: reading", "kind: tap-dance", 1)))
	var unknown *UnknownKindError
	require.ErrorAs(t, err, &unknown)
	assert.Equal(t, Kind("tap-dance"), unknown.Kind)
	assert.Equal(t, int64(3), e.Index)
	_, err = Marshal(e)
	require.ErrorAs(t, err, &unknown, "it cannot be written")
	_, err = Parse([]byte(strings.Replace(string(good), "kind: reading", "kind: Tap", 1)))
	require.Error(t, err)
	assert.NotErrorAs(t, err, &unknown, "not even the form of a kind")
}

func TestMarshalRefuses(t *testing.T) {
	for name, change := range map[string]func(*Entry){
		"value":   func(e *Entry) { e.Fields[2].Value = FormatNumber(math.NaN()) },
		"time":    func(e *Entry) { e.Time = time.Time{} },
		"index":   func(e *Entry) { e.Index = -1 },
		"uptime":  func(e *Entry) { e.Uptime = math.Inf(1) },
		"text":    func(e *Entry) { e.Fields[1].Value = "\xff" },
		"attempt": func(e *Entry) { e.Fields = e.Fields[1:] },
		"unit":    func(e *Entry) { e.Fields[2], e.Fields[3] = e.Fields[3], e.Fields[2] },
		"bytes":   func(e *Entry) { e.Fields[1].Value = strings.Repeat("x", MaxText) },
	} {
		t.Run(name, func(t *testing.T) {
			e := sample()
			change(&e)
			_, err := Marshal(e)
			require.Error(t, err)
			if name != "unit" {
				assert.Contains(t, err.Error(), name)
			}
		})
	}
}

func TestFormatNumber(t *testing.T) {
	for x, want := range map[float64]string{
		0: "0", math.Copysign(0, -1): "0", 1e21: "1000000000000000000000", 0.1: "0.1", 1e-7: "0.0000001",
		201600: "201600", -362.4: "-362.4", 9007199254740993: "9007199254740992",
	} {
		assert.Equal(t, want, FormatNumber(x))
	}
	for _, x := range []float64{math.NaN(), math.Inf(1), math.Inf(-1)} {
		assert.Empty(t, FormatNumber(x))
	}
	for _, text := range []string{"", "-0", "00", "1.", ".5", "1.50", "1e3", "0x1", "1_000", " 1", "+1", "inf", "NaN", "1,5"} {
		_, err := ParseNumber(text)
		assert.Error(t, err, text)
	}
	rapid.Check(t, func(t *rapid.T) {
		x := rapid.Float64().Draw(t, "x")
		got, err := ParseNumber(FormatNumber(x))
		require.NoError(t, err)
		require.Equal(t, x, got)
	})
}

func TestEscape(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.String().Draw(t, "text")
		escaped, err := Escape(text)
		require.NoError(t, err)
		require.NotContains(t, escaped, "\n")
		for _, r := range escaped {
			require.False(t, isHidden(r))
		}
		got, err := Unescape(escaped)
		require.NoError(t, err)
		require.Equal(t, text, got)
	})
	_, err := Escape("\xc3(")
	require.Error(t, err)
}

func TestOrigin(t *testing.T) {
	for _, text := range []string{"hvproof/sandpiper/bench-1/k3f9", "hvproof/a/b/c/practice", "hvproof/0.x_y-z/b/c"} {
		o, err := ParseOrigin(text)
		require.NoError(t, err)
		assert.Equal(t, text, o.String())
	}
	for _, text := range []string{"", "hvproof", "hvproof/a/b", "hvproof/a/b/c/d", "hvproof/a//c", "hvproof/a/b/c/", "Hvproof/a/b/c",
		"hvproof/a b/b/c", "hvproof/a/b/c/practice/practice", "hvproof/-a/b/c", "hvproof/a+b/b/c", "hvproof/ä/b/c"} {
		_, err := ParseOrigin(text)
		assert.Error(t, err, text)
	}
	assert.Equal(t, "red-avocet-2", OriginPart(" Red  Avocet №2!"))
	assert.Equal(t, "car", OriginPart("ÄÖ"))
	rapid.Check(t, func(t *rapid.T) {
		require.True(t, isOriginPart(OriginPart(rapid.String().Draw(t, "name"))))
	})
}

func TestBlobs(t *testing.T) {
	b := Body{Kind: RunStart}
	b.Add("plan", strings.Repeat("ab", 32))
	b.Add("meters", strings.Repeat("cd", 32))
	require.Len(t, b.Blobs(), 2)
	assert.Equal(t, byte(0xcd), b.Blobs()[1][31])
	assert.Empty(t, Body{Kind: Note, Fields: []Field{{"text", strings.Repeat("ab", 32)}}}.Blobs())
}

// FuzzParse: what is accepted is what would be printed.
func FuzzParse(f *testing.F) {
	text, err := Marshal(sample())
	require.NoError(f, err)
	f.Add(text)
	f.Add([]byte(strings.Replace(string(text), "kind: reading", "kind: tap-dance", 1)))
	f.Add([]byte("hvproof entry 1\norigin: hvproof/a/b/c\n"))
	f.Fuzz(func(t *testing.T, text []byte) {
		e, err := Parse(text)
		if err != nil {
			return // refused, or of an unknown kind, which cannot be printed
		}
		again, err := Marshal(e)
		require.NoError(t, err)
		require.Equal(t, string(text), string(again))
		known, err := ParseKnown(text)
		require.NoError(t, err)
		require.Equal(t, e, known)
	})
}
