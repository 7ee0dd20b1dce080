package main

import (
	"encoding/json"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"hvproof/internal/entry"
)

// longProcedure is a run of twenty-odd answers, some of them witnessed.
const longProcedure = `format: 1
procedure: long
title: Long
stage: A
people: {least: 2}
proves: {long: [main]}
ambient: true
cautions: [live]
state: {packs: out}
steps:
  - for_every: bonding.points
    called: point
    steps:
      - {id: bond, measure: "{point} to the chassis bolt, read it.", unit: Ω, with: low_ohm_meter, limit: bonding, witness: true}
      - {id: strap, observe: "Strap of {point}.", choices: [loose, tight], expect: tight}
sign_out:
  - {id: covers, observe: Covers of every box., choices: [open, fitted], expect: fitted}
`

// longCar makes a car with the long procedure and its answers.
func longCar(t *testing.T, dir string) *car {
	c := newCar(t, dir)
	c.write("procedures/long.yaml", longProcedure)
	points := []string{"box", "seat", "inverter", "motor", "dcdc", "inlet", "pedals", "harness"}
	c.write("vehicle.yaml", strings.Replace(c.read("vehicle.yaml"), "[box, seat]", "["+strings.Join(points, ", ")+"]", 1))
	answers := "answers:\n  \"resume:state\": as it was left\n  \"run:ambient\": 17 °C, 62 %, dry\n"
	for i, p := range points {
		answers += fmt.Sprintf("  \"%s.bond:caution\": understood\n  \"%s.bond:state\": \"packs: out\"\n  %s.bond: %d.4 mΩ\n", p, p, p, 11+i)
		answers += fmt.Sprintf("  \"%s.strap:caution\": understood\n  \"%s.strap:state\": \"packs: out\"\n  %s.strap: tight\n", p, p, p)
	}
	answers += "  \"covers:caution\": understood\n  \"covers:state\": \"packs: out\"\n  covers: fitted\n"
	c.write("long_answers.yaml", answers)
	return c
}

// recordedLine is the line by which the program says that an entry is durable.
var recordedLine = regexp.MustCompile(`(?m)^recorded (\S+) (\d+)\n`)

// An acknowledged entry: the program said so, then it was killed.
type acknowledged struct {
	name  string // path, or kind where the entry has none
	index int64
}

// entries gives the log's entries as `log --json` lists them.
func (c *car) entries() []noteDocument {
	c.t.Helper()
	r := c.in("log", "--json")
	require.Equal(c.t, 0, r.code, r.talk)
	require.Empty(c.t, checkDocument("log", 0, []byte(r.out)))
	var doc logDocument
	require.NoError(c.t, json.Unmarshal([]byte(r.out), &doc))
	require.Len(c.t, doc.Entries, int(doc.Size))
	return doc.Entries
}

// open reports whether the last run that began has not ended.
func open(entries []noteDocument) bool {
	for i := len(entries) - 1; i >= 0; i-- {
		switch entry.Kind(entries[i].Kind) {
		case entry.RunEnd:
			return false
		case entry.RunStart:
			return true
		}
	}
	return false
}

// killed runs the program, kills it with SIGKILL after the time, and gives what
// it had acknowledged, and whether it had ended by itself before.
func (c *car) killed(after time.Duration, args ...string) (said []acknowledged, ended bool) {
	c.t.Helper()
	command := c.command(args...)
	talk, err := command.StderrPipe()
	require.NoError(c.t, err)
	require.NoError(c.t, command.Start())
	timer := time.AfterFunc(after, func() { _ = command.Process.Kill() })
	defer timer.Stop()
	all, err := io.ReadAll(talk)
	require.NoError(c.t, err)
	err = command.Wait()
	var exit *exec.ExitError
	if err != nil {
		require.ErrorAs(c.t, err, &exit)
		require.False(c.t, exit.Exited(), "%v ended with %v:\n%s", args, err, all)
	}
	return acknowledgedIn(c.t, string(all)), err == nil
}

// acknowledgedIn gives the entries that were said to be durable.
func acknowledgedIn(t *testing.T, talk string) (said []acknowledged) {
	t.Helper()
	for _, m := range recordedLine.FindAllStringSubmatch(talk, -1) {
		index, err := strconv.ParseInt(m[2], 10, 64)
		require.NoError(t, err)
		said = append(said, acknowledged{m[1], index})
	}
	return said
}

// checkKept wants everything that was acknowledged to be in the log where it
// was said to be, and nothing in it twice.
func (c *car) checkKept(said []acknowledged) {
	c.t.Helper()
	list := c.entries()
	for _, a := range said {
		require.Less(c.t, a.index, int64(len(list)), "recorded %s %d was acknowledged and is lost", a.name, a.index)
		e := list[a.index]
		require.Contains(c.t, []string{e.Path, e.Kind}, a.name, "entry %d", a.index)
	}
	seen := map[string]int64{}
	for _, e := range list {
		switch entry.Kind(e.Kind) {
		case entry.Reading, entry.Statement, entry.Witness, entry.RunEnd, entry.Ambient:
			what := e.Run + " " + e.Kind + " " + e.Path
			before, twice := seen[what]
			require.False(c.t, twice, "%s is recorded as entry %d and as entry %d", what, before, e.Index)
			seen[what] = e.Index
		}
	}
}

// TestKilled kills runs at random moments and takes them up again, until they
// pass: nothing acknowledged is lost, nothing is recorded twice, and the log
// adds up. HVPROOF_KILLS says how often; 20 times if it is not set.
func TestKilled(t *testing.T) {
	want := 20
	if text := os.Getenv("HVPROOF_KILLS"); text != "" {
		var err error
		want, err = strconv.Atoi(text)
		require.NoError(t, err, "HVPROOF_KILLS")
		require.Positive(t, want, "HVPROOF_KILLS")
	}
	seed := rand.Uint64()
	t.Logf("seed %d", seed)
	random := rand.New(rand.NewPCG(seed, 0))
	kills, during := 0, 0
	for kills < want {
		c := longCar(t, t.TempDir())
		begun := time.Now()
		r := c.finish(c.command("run", "long", "--answers", "long_answers.yaml"))
		require.Equal(t, 0, r.code, r.talk)
		whole := time.Since(begun)
		var said []acknowledged
		for of := min(kills+20, want); kills < of; {
			args := []string{"run", "long", "--answers", "long_answers.yaml"}
			if open(c.entries()) {
				args = []string{"resume", "--answers", "long_answers.yaml"}
			}
			more, ended := c.killed(time.Duration(random.Int64N(int64(whole))), args...)
			if said = append(said, more...); !ended {
				kills++
				if len(more) > 0 {
					during++
				}
			}
			c.checkKept(said)
		}
		if open(c.entries()) {
			require.Equal(t, 0, c.finish(c.command("resume", "--answers", "long_answers.yaml")).code)
		}
		c.checkKept(said)
		runs, passed := 0, 0
		for _, e := range c.entries() {
			switch entry.Kind(e.Kind) {
			case entry.RunStart:
				runs++
			case entry.RunEnd:
				require.Contains(t, e.Note, "\noutcome: passed\n")
				passed++
			}
		}
		require.Equal(t, runs, passed, "every run that began has passed")
		r = c.in("verify")
		require.Equal(t, 0, r.code, r.out+r.talk)
	}
	require.Greater(t, during, want/10, "hardly a kill came while something was recorded: %d of %d", during, kills)
	t.Logf("%d kills, %d of them while a run was recording", kills, during)
}
