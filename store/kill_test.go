package store

import (
	"bufio"
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Environment of the child processes that this test binary starts of itself.
const (
	childRole   = "HVPROOF_TEST_CHILD"
	childFolder = "HVPROOF_TEST_FOLDER"
)

func TestMain(m *testing.M) {
	role := os.Getenv(childRole)
	if role == "" {
		os.Exit(m.Run())
	}
	if err := runChild(role, os.Getenv(childFolder)); err != nil {
		fmt.Println("child:", err)
		os.Exit(1)
	}
}

// runChild is the program of a child process.
func runChild(role, dir string) error {
	if role == "read" {
		return childReads(dir)
	}
	s, err := Open(dir, Options{Holder: testHolder(99)})
	if err != nil {
		return err
	}
	if role == "hold" {
		fmt.Println("holding")
		time.Sleep(time.Minute)
		return nil
	}
	size, err := s.Size(context.Background(), chainOrigin)
	if err != nil {
		return err
	}
	if role == "stall" {
		s.testOnlyStall = func() {
			fmt.Println("stalled")
			time.Sleep(time.Minute)
		}
	}
	for ; ; size++ {
		if err := answer(s, size, size); err != nil {
			return err
		}
		fmt.Println("acknowledged", size) // unbuffered: it is out before the next begins
	}
}

// childReads opens a folder for reading and says how many answers add up.
func childReads(dir string) error {
	s, err := Open(dir, Options{ReadOnly: true})
	if err != nil {
		return err
	}
	notes, err := checkChain(s)
	if err != nil {
		return err
	}
	fmt.Println("notes", len(notes))
	return s.Close()
}

// child is a running child process.
type child struct {
	command *exec.Cmd
	lines   *bufio.Scanner
}

func startChild(t *testing.T, dir, role string) *child {
	t.Helper()
	self, err := os.Executable()
	require.NoError(t, err)
	return startProgram(t, exec.Command(self), dir, role)
}

func startProgram(t *testing.T, command *exec.Cmd, dir, role string) *child {
	t.Helper()
	command.Env = append(os.Environ(), childRole+"="+role, childFolder+"="+dir)
	out, err := command.StdoutPipe()
	require.NoError(t, err)
	command.Stderr = os.Stderr
	require.NoError(t, command.Start())
	c := &child{command, bufio.NewScanner(out)}
	t.Cleanup(func() { _ = c.command.Process.Kill() }) // it may have ended
	return c
}

func (c *child) waitFor(t *testing.T, line string) {
	t.Helper()
	require.True(t, c.lines.Scan(), "the child ended early")
	require.Equal(t, line, c.lines.Text())
}

// kill ends the child at once, as kill -9 does, and returns the lines that it
// printed until then.
func (c *child) kill(t *testing.T) []string {
	t.Helper()
	require.NoError(t, c.command.Process.Kill())
	var lines []string
	for c.lines.Scan() {
		lines = append(lines, c.lines.Text())
	}
	require.Error(t, c.command.Wait(), "the child ended by itself")
	return lines
}

// kills is how often the writer is killed: HVPROOF_KILLS, or 20.
func kills(t *testing.T) int {
	text, ok := os.LookupEnv("HVPROOF_KILLS")
	if !ok {
		return 20
	}
	n, err := strconv.Atoi(text)
	require.NoError(t, err)
	require.Positive(t, n, "HVPROOF_KILLS")
	return n
}

// A writer that is killed between the check and the commit leaves nothing.
func TestKilledBetweenCheckAndCommit(t *testing.T) {
	dir := filled(t, 3)
	c := startChild(t, dir, "stall")
	c.waitFor(t, "stalled")
	c.kill(t)
	assert.Equal(t, 3, requireWhole(t, dir, 0, 2))
	s := openTest(t, dir)
	require.NoError(t, answer(s, 3, 3))
}

func TestKilledWriter(t *testing.T) {
	dir := t.TempDir()
	acknowledged := int64(-1)
	before := 0
	for range kills(t) {
		c := startChild(t, dir, "append")
		var printed []string
		if acknowledged < 0 || rand.IntN(2) == 0 { // at some answer, or also while opening
			require.True(t, c.lines.Scan())
			printed = append(printed, c.lines.Text())
		}
		time.Sleep(time.Duration(rand.IntN(60_000)) * time.Microsecond)
		printed = append(printed, c.kill(t)...)
		for _, line := range printed {
			number, found := strings.CutPrefix(line, "acknowledged ")
			require.True(t, found, line)
			n, err := strconv.ParseInt(number, 10, 64)
			require.NoError(t, err)
			require.Greater(t, n, acknowledged)
			acknowledged = n
		}
		before = requireWhole(t, dir, before, acknowledged)
	}
	assert.Positive(t, acknowledged, "no answer was acknowledged, so nothing was tested")
}

// requireWhole requires that a folder whose writer was killed holds every
// acknowledged answer once, in order, each with its blob, and at most one more than
// before that was not acknowledged; for a reader that leaves no traces, and for the next
// writer. It returns the number of answers.
func requireWhole(t *testing.T, dir string, before int, acknowledged int64) int {
	t.Helper()
	ctx := context.Background()
	traces := listing(t, dir)
	r, err := Open(dir, Options{ReadOnly: true, TempDir: t.TempDir()})
	if acknowledged < 0 && err != nil {
		return 0
	}
	require.NoError(t, err)
	readNotes, err := checkChain(r)
	require.NoError(t, err)
	require.NoError(t, r.Close())
	require.Equal(t, traces, listing(t, dir), "a reader left traces")

	s, err := Open(dir, Options{Holder: testHolder(1)})
	require.NoError(t, err)
	require.NoError(t, s.Check(ctx))
	notes, err := checkChain(s)
	require.NoError(t, err)
	require.Equal(t, readNotes, notes, "reader and writer see the same log")
	require.GreaterOrEqual(t, int64(len(notes)), acknowledged+1, "an acknowledged answer is lost")
	// One that was killed before it could say so leaves an answer for the next.
	require.LessOrEqual(t, int64(len(notes)), max(int64(before), acknowledged+1)+1, "more than one answer was not acknowledged")
	for i, note := range notes {
		number, blob := parseNote(t, note)
		require.Equal(t, int64(i), number, "lost or doubled")
		if i >= before {
			_, err := s.Blob(ctx, blob)
			require.NoError(t, err)
		}
	}
	require.NoError(t, s.Close())
	return len(notes)
}
