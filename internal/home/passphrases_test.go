package home

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestParsePassphrases(t *testing.T) {
	for file, want := range map[string]map[string]string{
		"":                                    {},
		"# nobody\n\n":                        {},
		"operator: x":                         {"operator": "x"},
		"r.mills: a: b #c\ns.okoro: Ω ohm\n":  {"r.mills": "a: b #c", "s.okoro": "Ω ohm"},
		"\ufeffoperator: x\r\nwitness: y\r\n": {"operator": "x", "witness": "y"},
	} {
		got, problems := ParsePassphrases("p.txt", []byte(file))
		require.Empty(t, problems, file)
		assert.Equal(t, want, got, file)
	}
}

func TestParsePassphrasesFaults(t *testing.T) {
	for file, want := range map[string][]string{
		"operator":                        {"p.txt:1:1: no colon in this line"},
		"operator=hunter2":                {"p.txt:1:1: no colon in this line"},
		"# a\nhunter2 3: x":               {"p.txt:2:1: what stands before the colon is not the id of a person"},
		"../x: y":                         {"p.txt:1:1: what stands before the colon is not the id of a person"},
		" operator: x":                    {"p.txt:1:1: what stands before the colon is not the id of a person"},
		"operator:hunter2":                {"p.txt:1:10: one space wanted between the colon and the passphrase of operator"},
		"operator: ":                      {"p.txt:1:11: the passphrase of operator is missing"},
		"operator:":                       {"p.txt:1:10: one space wanted between the colon and the passphrase of operator"},
		"operator:  hunter2":              {"p.txt:1:11: the passphrase of operator begins or ends with white space"},
		"operator: hunter2 ":              {"p.txt:1:11: the passphrase of operator begins or ends with white space"},
		"operator: hun\tter2":             {"p.txt:1:11: the passphrase of operator has a control character in it"},
		"operator: a\n\noperator: b\n":    {"p.txt:3:1: operator stands in line 1 already"},
		"a: " + strings.Repeat("x", 2000): {"p.txt:1:4: the passphrase of a is too long"},
		"hunter2\noperator:x\nb: y":       {"p.txt:1:1: no colon in this line", "p.txt:2:10: one space wanted between the colon and the passphrase of operator"},
		"\xff\xfeo\x00p\x00":              {"p.txt: is not UTF-8 text; UTF-16 perhaps"},
		"a: \xff":                         {"p.txt: is not UTF-8 text; UTF-16 perhaps"},
		strings.Repeat("#\n", 40_000):     {"p.txt: longer than 65536 bytes"},
	} {
		_, problems := ParsePassphrases("p.txt", []byte(file))
		var got []string
		for _, p := range problems {
			assert.Empty(t, p.Source, "a line of this file is never shown")
			message, _, _ := strings.Cut(p.Error(), "; ")
			if p.Hint == "" || strings.Contains(p.Message, "; ") {
				message = strings.TrimSuffix(p.Error(), "; "+p.Hint)
			}
			got = append(got, message)
		}
		assert.Equal(t, want, got, "%.60q", file)
		assert.NotContains(t, fmt.Sprint(problems), "hunter2")
		assert.True(t, problems.Errors())
	}
}

func FuzzPassphrases(f *testing.F) {
	f.Add([]byte("\ufeff# people\r\nr.mills: a b\noperator: x\n"))
	f.Add([]byte("operator:x\noperator: \n"))
	f.Fuzz(func(t *testing.T, file []byte) {
		passphrases, problems := ParsePassphrases("p", file)
		if problems.Errors() {
			return
		}
		var lines strings.Builder
		for id, p := range passphrases {
			assert.NoError(t, CheckPersonID(id))
			assert.NotEmpty(t, p)
			fmt.Fprintf(&lines, "%s: %s\n", id, p)
		}
		again, problems := ParsePassphrases("p", []byte(lines.String()))
		if lines.Len() <= maxFile {
			assert.Empty(t, problems)
			assert.Equal(t, passphrases, again)
		}
	})
}
