package main

import (
	"bufio"
	"database/sql"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// database is the log's file in a car folder.
const database = "hvproof.db"

// sql runs a statement on the log's database behind the program's back.
func (c *car) sql(statement string) {
	c.t.Helper()
	db, err := sql.Open("sqlite", filepath.Join(c.dir, database)) // store brings the driver in
	require.NoError(c.t, err)
	_, err = db.Exec(statement)
	require.NoError(c.t, err, statement)
	require.NoError(c.t, db.Close())
}

// commands are one call of each command that opens the log.
var commands = [][]string{
	{"log"}, {"log", "--note", "0"}, {"ready"}, {"person"}, {"person", "show", "operator"}, {"show", "x-5"},
	{"person", "add", "x.y"}, {"person", "retire", "witness", "--reason", "left"},
	{"run", "bench", "--answers", "passes.yaml"}, {"resume", "--answers", "passes.yaml"},
}

// refuses wants every command to end with the code, with these words and a
// proper document, and the database's bytes to be as before.
func (c *car) refuses(code int, words ...string) {
	c.t.Helper()
	before := c.read(database)
	for _, args := range commands {
		c.in(args...).wantRefusal(c.t, code, append([]string{"hvproof: error: "}, words...)...)
		r := c.in(append(args, "--json")...)
		assert.Empty(c.t, checkDocument(args[0], r.code, []byte(r.out)), "%v: %s", args, r.out)
	}
	assert.Equal(c.t, before, c.read(database), "the file was changed")
}

// TestNotSQLite: a car folder whose log is no database is the machine's failure; to
// verify such a file by its name is an answer, no.
func TestNotSQLite(t *testing.T) {
	for name, text := range map[string]string{
		"text":  strings.Repeat("This is not a database.\n", 1000),
		"zeros": strings.Repeat("\x00", 8192),
	} {
		t.Run(name, func(t *testing.T) {
			c := newCar(t, t.TempDir())
			c.write(database, text)
			c.refuses(4, database)
			for code, file := range map[int]string{1: filepath.Join(c.dir, database), 2: filepath.Join(c.dir, "nowhere.db"), 4: c.dir} {
				r := c.in("verify", file, "--json")
				r.wantRefusal(t, code)
				assert.Empty(t, checkDocument("verify", r.code, []byte(r.out)), r.out)
			}
		})
	}
}

// TestNewerDatabase: a database of a later program is not touched.
func TestNewerDatabase(t *testing.T) {
	c := newCar(t, t.TempDir())
	c.sql("PRAGMA user_version = 99")
	c.refuses(2, "version 99", "a later one")
	c.in("verify").wantRefusal(t, 2, "version 99")
	c.sql("PRAGMA user_version = 1")
	c.grew(0)
}

// TestTruncatedDatabase: half a database is no log with half the entries.
func TestTruncatedDatabase(t *testing.T) {
	c := newCar(t, t.TempDir())
	require.Equal(t, 0, c.in("run", "bench", "--answers", "passes.yaml").code)
	whole := c.read(database)
	for _, part := range []int{3, 2} {
		c.write(database, whole[:len(whole)*(part-1)/part/4096*4096])
		for _, args := range commands {
			r := c.in(args...)
			r.wantRefusal(t, r.code)
			assert.Contains(t, []int{1, 2, 4}, r.code, "%v: %s", args, r.out+r.talk)
		}
		r := c.in("verify")
		assert.Contains(t, []int{1, 4}, r.code, r.out+r.talk)
	}
	c.write(database, whole)
	c.grew(6)
}

// TestDamagedDatabase writes over one page after the other: no command falls
// over, none says that all is well but those that never read the page.
func TestDamagedDatabase(t *testing.T) {
	c := newCar(t, t.TempDir())
	require.Equal(t, 0, c.in("run", "bench", "--answers", "passes.yaml").code)
	whole := c.read(database)
	noise := strings.Repeat("\xa5\x5a damaged ", 4096/10+1)[:4096]
	bad := 0
	for at := 0; at+4096 <= len(whole); at += 4096 {
		c.write(database, whole[:at]+noise+whole[at+4096:])
		for _, args := range commands[:6] { // those that only read
			r := c.in(args...)
			r.wantRefusal(t, r.code)
		}
		r := c.in("verify")
		r.wantRefusal(t, r.code)
		if r.code != 0 {
			bad++
			assert.Contains(t, []int{1, 4}, r.code, r.out+r.talk)
		}
	}
	assert.Greater(t, bad, 5, "hardly a damaged page was noticed")
	c.write(database, whole)
	c.grew(6)
}

// TestSecondWriter: while one run waits at its prompt, a second writer is told
// who holds the log, readers read, and nothing is lost.
func TestSecondWriter(t *testing.T) {
	c := newCar(t, t.TempDir())
	first := c.command("run", "bench")
	input, err := first.StdinPipe()
	require.NoError(t, err)
	talk, err := first.StderrPipe()
	require.NoError(t, err)
	require.NoError(t, first.Start())
	lines := bufio.NewScanner(talk)
	for lines.Scan() && !strings.HasPrefix(lines.Text(), "recorded run-start 5") {
	}
	holder := fmt.Sprint(first.Process.Pid)
	for _, args := range [][]string{{"run", "bench", "--answers", "passes.yaml"}, {"resume"}, {"person", "add", "x.y"}} {
		c.finish(c.command(args...)).wantRefusal(t, 4, holder)
		r := c.finish(c.command(append(args, "--json")...))
		assert.Empty(t, checkDocument(args[0], r.code, []byte(r.out)), r.out)
	}
	c.finish(c.command("log")).wantRefusal(t, 0)
	c.finish(c.command("ready")).wantRefusal(t, 1)
	c.finish(c.command("check")).wantRefusal(t, 0)
	_, err = io.WriteString(input, "sound\n")
	require.NoError(t, err)
	require.NoError(t, input.Close())
	rest, err := io.ReadAll(talk)
	require.NoError(t, err)
	code, err := exitCode(first.Wait())
	require.NoError(t, err)
	assert.Equal(t, 3, code, string(rest))
	c.grew(2)
}

// TestTwoProcesses starts pairs of runs at once: each either does all of it or
// is told that the other writes; the log adds up.
func TestTwoProcesses(t *testing.T) {
	c := newCar(t, t.TempDir())
	passed := 0
	for range 8 {
		var ends [2]chan result
		for i := range ends {
			ends[i] = make(chan result, 1)
			go func() { ends[i] <- c.finish(c.command("run", "bench", "--answers", "passes.yaml")) }()
		}
		for _, end := range ends {
			r := <-end
			r.wantRefusal(t, r.code)
			if r.code == 0 {
				passed++
			} else {
				assert.Equal(t, 4, r.code, r.talk)
			}
		}
	}
	assert.GreaterOrEqual(t, passed, 8, "one of each pair")
	c.grew(int64(6 * passed))
}

// TestMissingBlob: a plan that is gone is said, and the run proves nothing.
func TestMissingBlob(t *testing.T) {
	c := newCar(t, t.TempDir())
	require.Equal(t, 0, c.in("run", "bench", "--answers", "passes.yaml").code)
	require.NoError(t, os.RemoveAll(filepath.Join(c.dir, "blobs")))
	c.in("ready").wantRefusal(t, 1)
	r := c.in("verify", "--json")
	require.Equal(t, 1, r.code, r.out)
	var doc struct{ Faults []struct{ Code string } }
	require.NoError(t, json.Unmarshal([]byte(r.out), &doc))
	require.NotEmpty(t, doc.Faults)
	assert.Equal(t, "missing-blob", doc.Faults[0].Code)
}

// TestShorterThanRemembered: a log that lost its end is not written to.
func TestShorterThanRemembered(t *testing.T) {
	c := newCar(t, t.TempDir())
	before := c.read(database)
	require.Equal(t, 0, c.in("run", "bench", "--answers", "passes.yaml").code)
	c.write(database, before)
	c.in("run", "bench", "--answers", "passes.yaml").wantRefusal(t, 1, "hvproof person loss")
	r := c.in("verify", "--json")
	r.wantRefusal(t, 1, "rolled-back")
	assert.Empty(t, checkDocument("verify", 1, []byte(r.out)))
	c.in("person", "loss", "--reason", "the disk lied").wantRefusal(t, 0)
	c.in("run", "bench", "--answers", "passes.yaml").wantRefusal(t, 0)
	c.in("verify").wantRefusal(t, 0, "loss")
	c.in("person", "loss", "--reason", "again").wantRefusal(t, 1, "nothing is lost")
}

// TestBrokenConfiguration: without its configuration folder the program cannot
// write, and says which file is in the way.
func TestBrokenConfiguration(t *testing.T) {
	c := newCar(t, t.TempDir())
	require.NoError(t, os.Rename(c.config, c.config+".away"))
	require.NoError(t, os.WriteFile(c.config, []byte("a file"), 0o600))
	r := c.in("run", "bench", "--answers", "passes.yaml")
	r.wantRefusal(t, r.code, "config")
	assert.Contains(t, []int{2, 4}, r.code)
	require.NoError(t, os.Remove(c.config))
	c.in("run", "bench", "--answers", "passes.yaml").wantRefusal(t, 1, "read-only here")
	require.NoError(t, os.RemoveAll(c.config))
	require.NoError(t, os.Rename(c.config+".away", c.config))
	c.grew(0)
}
