package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/rogpeppe/go-internal/testscript"

	"hvproof/store"
)

// TestMain lets the test binary be hvproof where it is called by that name, so
// that scripts and tests run the real program in a process of its own.
func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){
		"hvproof": func() {
			os.Exit(program(context.Background(), os.Args[1:], os.Stdin, os.Stdout, os.Stderr, os.Getenv, time.Now))
		},
	})
}

// TestScript runs the scripts of testdata/script. Beside the commands of
// testscript they have:
//
//	practicecar DIR           makes a practice car folder with the files of testdata/car
//	realcar DIR               makes a real one; its log begins with person add
//	exits CODE hvproof ARG…   runs the command, which must end with this exit code,
//	                          without a stack trace, and with --json give one document
//	                          of the fixed shape
//	grew DIR N                the log has N entries more than at the last grew, or
//	                          since the folder was made, and adds up
//	keep NAME PATTERN         keeps what the pattern's group matches in the last output
//	edit FILE OLD NEW         replaces OLD, which the file has once
//
// The demo car's captures lie in captures, with those of testdata/captures. Each script has its own home and configuration folder, and nobody's clock or
// passphrases.
func TestScript(t *testing.T) {
	testscript.Run(t, testscript.Params{
		Dir: "testdata/script",
		Setup: func(e *testscript.Env) error {
			e.Setenv("HOME", filepath.Join(e.WorkDir, "home"))
			e.Setenv("HVPROOF_CONFIG", filepath.Join(e.WorkDir, "config"))
			e.Values[sizes{}] = map[string]int64{}
			for _, from := range []string{"../../checklists/demo/captures", "testdata/captures"} {
				if err := os.CopyFS(filepath.Join(e.WorkDir, "captures"), os.DirFS(from)); err != nil {
					return err
				}
			}
			return os.Mkdir(filepath.Join(e.WorkDir, "home"), 0o700)
		},
		RequireExplicitExec: true,
		RequireUniqueNames:  true,
		Cmds: map[string]func(*testscript.TestScript, bool, []string){
			"practicecar": func(ts *testscript.TestScript, neg bool, args []string) { makeCar(ts, neg, args, "--practice") },
			"realcar":     func(ts *testscript.TestScript, neg bool, args []string) { makeCar(ts, neg, args) },
			"exits":       exits,
			"grew":        grew,
			"keep":        keep,
			"edit":        edit,
		},
	})
}

// sizes is the key of a script's log sizes by folder.
type sizes struct{}

// usage ends the script where a command was called wrongly.
func usage(ts *testscript.TestScript, neg bool, args []string, least int, text string) {
	if neg || len(args) < least {
		ts.Fatalf("usage: %s", text)
	}
}

func makeCar(ts *testscript.TestScript, neg bool, args []string, flags ...string) {
	usage(ts, neg, args, 1, "practicecar DIR, realcar DIR")
	dir := ts.MkAbs(args[0])
	ts.Check(ts.Exec("hvproof", append([]string{"init", dir}, flags...)...))
	ts.Check(fillCar(dir))
	if len(flags) > 0 {
		size, err := logSize(dir)
		ts.Check(err)
		ts.Value(sizes{}).(map[string]int64)[dir] = size
	}
}

// fillCar replaces the files of a car folder by those of testdata/car.
func fillCar(dir string) error {
	for _, sub := range []string{"procedures", "rules"} {
		if err := os.RemoveAll(filepath.Join(dir, sub)); err != nil {
			return err
		}
	}
	for _, name := range []string{"vehicle.yaml", "people.yaml", "instruments.yaml", "cautions.yaml"} {
		if err := os.Remove(filepath.Join(dir, name)); err != nil {
			return err
		}
	}
	return os.CopyFS(dir, os.DirFS(filepath.Join("testdata", "car")))
}

// logSize gives the number of entries of the one log of a car folder.
func logSize(dir string) (int64, error) {
	st, err := store.Open(dir, store.Options{ReadOnly: true})
	if err != nil {
		return 0, err
	}
	defer st.Close()
	origins, err := st.Origins(context.Background())
	if err != nil {
		return 0, err
	}
	if len(origins) != 1 {
		return 0, fmt.Errorf("%s has %d logs", dir, len(origins))
	}
	return st.Size(context.Background(), origins[0])
}

func exits(ts *testscript.TestScript, neg bool, args []string) {
	usage(ts, neg, args, 2, "exits CODE hvproof ARG…")
	want, err := strconv.Atoi(args[0])
	ts.Check(err)
	err = ts.Exec(args[1], args[2:]...)
	code, err := exitCode(err)
	ts.Check(err)
	out, talk := ts.ReadFile("stdout"), ts.ReadFile("stderr")
	if trace.MatchString(out + talk) {
		ts.Fatalf("a stack trace was printed")
	}
	if code != want {
		ts.Fatalf("exit code %d, want %d", code, want)
	}
	if slices.Contains(args, "--json") {
		if faults := checkDocument(command(args[2:]), code, []byte(out)); len(faults) > 0 {
			ts.Fatalf("the JSON document: %s", strings.Join(faults, "; "))
		}
	}
}

// trace is what the Go runtime prints when a program falls over.
var trace = regexp.MustCompile(`(?m)^(panic: |goroutine \d+ |fatal error: |runtime error)`)

// exitCode gives the exit code that an error of running a command stands for.
func exitCode(err error) (int, error) {
	var exit *exec.ExitError
	if errors.As(err, &exit) && exit.Exited() {
		return exit.ExitCode(), nil
	}
	return 0, err
}

// command gives the name of the command among the arguments of hvproof.
func command(args []string) string {
	for i := 0; i < len(args); i++ {
		switch {
		case args[i] == "-C":
			i++
		case !strings.HasPrefix(args[i], "-"):
			return args[i]
		}
	}
	return ""
}

func grew(ts *testscript.TestScript, neg bool, args []string) {
	usage(ts, neg, args, 2, "grew DIR N")
	want, err := strconv.ParseInt(args[1], 10, 64)
	ts.Check(err)
	dir, known := ts.MkAbs(args[0]), ts.Value(sizes{}).(map[string]int64)
	size, err := logSize(dir)
	ts.Check(err)
	if size-known[dir] != want {
		ts.Fatalf("the log grew by %d entries, want %d", size-known[dir], want)
	}
	known[dir] = size
	verify := exec.Command("hvproof", "-C", dir, "verify") // not ts.Exec: the last output stays
	verify.Env = append(os.Environ(), "HOME="+ts.Getenv("HOME"), "HVPROOF_CONFIG="+ts.Getenv("HVPROOF_CONFIG"))
	if out, err := verify.CombinedOutput(); err != nil {
		ts.Fatalf("the log does not verify: %v\n%s", err, out)
	}
}

func keep(ts *testscript.TestScript, neg bool, args []string) {
	usage(ts, neg, args, 2, "keep NAME PATTERN")
	pattern, err := regexp.Compile("(?m)" + args[1])
	ts.Check(err)
	m := pattern.FindStringSubmatch(ts.ReadFile("stdout") + ts.ReadFile("stderr"))
	if len(m) != 2 {
		ts.Fatalf("no match for %s with one group", args[1])
	}
	ts.Setenv(args[0], m[1])
}

func edit(ts *testscript.TestScript, neg bool, args []string) {
	usage(ts, neg, args, 3, "edit FILE OLD NEW")
	file := ts.MkAbs(args[0])
	text, err := os.ReadFile(file)
	ts.Check(err)
	if n := strings.Count(string(text), args[1]); n != 1 {
		ts.Fatalf("%s has %q %d times, want once", args[0], args[1], n)
	}
	ts.Check(os.WriteFile(file, []byte(strings.Replace(string(text), args[1], args[2], 1)), 0o644))
}
