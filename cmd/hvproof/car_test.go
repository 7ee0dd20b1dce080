package main

import (
	"bytes"
	"context"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A car is a practice car folder with the files of testdata/car, for tests
// that are not scripts.
type car struct {
	t           *testing.T
	dir, config string
	since       int64 // entries when it was made or last looked at
}

// newCar makes one below dir.
func newCar(t *testing.T, dir string) *car {
	t.Helper()
	c := &car{t: t, dir: filepath.Join(dir, "car"), config: filepath.Join(dir, "config")}
	require.Equal(t, 0, c.do("", "init", "--practice", c.dir).code)
	require.NoError(t, fillCar(c.dir))
	c.grew(5)
	return c
}

// A result is what a call left behind.
type result struct {
	code      int
	out, talk string
}

// do calls the program in this process.
func (c *car) do(input string, args ...string) result {
	c.t.Helper()
	var out, talk bytes.Buffer
	env := func(name string) string { return map[string]string{"HVPROOF_CONFIG": c.config}[name] }
	code := program(context.Background(), args, strings.NewReader(input), &out, &talk, env, time.Now)
	return result{code, out.String(), talk.String()}
}

// in calls the program in this process, for this folder.
func (c *car) in(args ...string) result {
	c.t.Helper()
	return c.do("", append([]string{"-C", c.dir}, args...)...)
}

// command gives the program as a command in a process of its own, for this
// folder.
func (c *car) command(args ...string) *exec.Cmd {
	command := exec.Command("hvproof", append([]string{"-C", c.dir}, args...)...)
	command.Env = append(os.Environ(), "HVPROOF_CONFIG="+c.config)
	return command
}

// finish runs a command of this folder to its end.
func (c *car) finish(command *exec.Cmd) result {
	c.t.Helper()
	var out, talk bytes.Buffer
	command.Stdout, command.Stderr = &out, &talk
	code, err := exitCode(command.Run())
	require.NoError(c.t, err)
	return result{code, out.String(), talk.String()}
}

// write puts a file into the folder.
func (c *car) write(name, text string) {
	c.t.Helper()
	require.NoError(c.t, os.WriteFile(filepath.Join(c.dir, name), []byte(text), 0o644))
}

// read gives a file of the folder.
func (c *car) read(name string) string {
	c.t.Helper()
	text, err := os.ReadFile(filepath.Join(c.dir, name))
	require.NoError(c.t, err)
	return string(text)
}

// grew wants n entries more than at the last look, and a log that adds up.
func (c *car) grew(n int64) {
	c.t.Helper()
	size, err := logSize(c.dir)
	require.NoError(c.t, err)
	require.Equal(c.t, n, size-c.since, "entries more than before")
	c.since = size
	r := c.in("verify")
	require.Equal(c.t, 0, r.code, r.out+r.talk)
}

// hostile are characters that change how a terminal shows the others: control
// characters but for the line's end and the tab, and Unicode's bidirectional ones.
var hostile = regexp.MustCompile(`[\x00-\x08\x0b-\x1f\x7f-\x{9f}\x{200e}\x{200f}\x{202a}-\x{202e}\x{2066}-\x{2069}]`)

// wantRefusal wants this exit code, each of the words in what was said, and
// neither a stack trace nor anything that could deceive on a terminal.
func (r result) wantRefusal(t *testing.T, code int, words ...string) {
	t.Helper()
	assert.Equal(t, code, r.code, r.out+r.talk)
	for _, w := range words {
		assert.Contains(t, r.out+r.talk, w)
	}
	assert.NotRegexp(t, trace, r.out+r.talk)
	assert.NotRegexp(t, hostile, r.out+r.talk)
}

// sparse makes a file of that size that takes no space.
func (c *car) sparse(name string, size int64) {
	c.t.Helper()
	f, err := os.Create(filepath.Join(c.dir, name))
	require.NoError(c.t, err)
	require.NoError(c.t, f.Truncate(size))
	require.NoError(c.t, f.Close())
}
