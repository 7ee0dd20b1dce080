package main

import (
	"flag"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

var update = flag.Bool("update", false, "write into README.md what the commands print, where nothing is left out with …")

const (
	readme = "../../README.md"
	fence  = "```"
	prompt = "$ hvproof"
)

// A block is a fenced block of the README that begins with a command: lines
// from its first to the one before the closing fence.
type block struct {
	first, end int
	lines      []string
}

// blocks finds them.
func blocks(lines []string) []block {
	var out []block
	for i := 0; i < len(lines); i++ {
		if !strings.HasPrefix(lines[i], fence) {
			continue
		}
		b := block{first: i + 1}
		for i++; i < len(lines) && !strings.HasPrefix(lines[i], fence); i++ {
			b.lines = append(b.lines, lines[i])
		}
		b.end = i
		if len(b.lines) > 0 && strings.HasPrefix(b.lines[0], prompt) {
			out = append(out, b)
		}
	}
	return out
}

// clock is where the demo says how to go on with its clock.
var clock = regexp.MustCompile(`(?m)^\s*export (HVPROOF_NOW=\S+)$`)

// TestReadme runs every command of the README's blocks in the demo's car
// folder, as the demo leaves it, and holds what it prints against what the
// README says. A line with nothing but … stands for any lines left out.
func TestReadme(t *testing.T) {
	text, err := os.ReadFile(readme)
	require.NoError(t, err, "the README is what people read first: it must be there")
	lines := strings.Split(string(text), "\n")
	found := blocks(lines)
	require.NotEmpty(t, found, "README.md shows no session: no fenced block begins with %q", prompt)

	dir := t.TempDir()
	environment := append(os.Environ(), "HVPROOF_CONFIG="+filepath.Join(dir, "config"))
	run := func(where string, args ...string) string {
		command := exec.Command("hvproof", args...)
		command.Dir, command.Env = where, environment
		out, err := command.CombinedOutput()
		_, err = exitCode(err)
		require.NoError(t, err)
		return string(out)
	}
	demo := run(dir, "demo", "demo")
	now := clock.FindStringSubmatch(demo)
	require.NotNil(t, now, "the demo does not say how to go on with its clock:\n%s", demo)
	environment = append(environment, now[1])

	for i := len(found) - 1; i >= 0; i-- { // from the end: updating moves what follows
		b := found[i]
		got := []string{}
		for _, line := range b.lines {
			if strings.HasPrefix(line, prompt) {
				got = append(got, line)
				out := run(filepath.Join(dir, "demo"), strings.Fields(strings.TrimPrefix(line, prompt))...)
				got = append(got, strings.Split(strings.TrimSuffix(out, "\n"), "\n")...)
			}
		}
		if matches(b.lines, got) {
			continue
		}
		if *update && !strings.Contains("\n"+strings.Join(b.lines, "\n")+"\n", "\n…\n") {
			lines = append(lines[:b.first:b.first], append(got, lines[b.end:]...)...)
			continue
		}
		assert.Equal(t, strings.Join(b.lines, "\n"), strings.Join(got, "\n"), "README.md:%d: this is not what the program prints", b.first+1)
	}
	if *update {
		require.NoError(t, os.WriteFile(readme, []byte(strings.Join(lines, "\n")), 0o644))
	}
}

// matches reports whether lines are as the pattern has them; a line … of the
// pattern stands for any number of lines.
func matches(pattern, lines []string) bool {
	for i, p := range pattern {
		if p == "…" {
			for skip := 0; skip <= len(lines)-i; skip++ {
				if matches(pattern[i+1:], lines[i+skip:]) {
					return true
				}
			}
			return false
		}
		if i >= len(lines) || strings.TrimRight(p, " ") != strings.TrimRight(lines[i], " ") {
			return false
		}
	}
	return len(pattern) == len(lines)
}

// TestMatches makes sure that the comparison can fail.
func TestMatches(t *testing.T) {
	split := func(s string) []string { return strings.Split(s, " ") }
	for _, c := range []struct {
		pattern, lines string
		want           bool
	}{
		{"a b", "a b", true}, {"a b", "a", false}, {"a", "a b", false}, {"a …", "a b c", true}, {"… c", "a b c", true},
		{"a … c", "a c", true}, {"a … c", "a b", false}, {"… b … d", "a b c d", true}, {"… b … d", "a c b c", false}, {"…", "a", true},
	} {
		assert.Equal(t, c.want, matches(split(c.pattern), split(c.lines)), "%s for %s", c.pattern, c.lines)
	}
}
