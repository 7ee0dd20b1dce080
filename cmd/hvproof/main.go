// Command hvproof takes a car with a high-voltage battery through the
// measurements that must be done before power comes on, and keeps them as a
// signed log. See README.md.
package main

import (
	"context"
	"io"
	"os"
	"os/signal"
	"runtime/debug"
	"time"
)

// version is the program's version, recorded in every entry.
const version = "0.1.0"

func main() {
	// Most commands live for a tenth of a second: collecting garbage less often
	// takes a fifth off that and costs a few megabytes.
	debug.SetGCPercent(400)
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	code := program(ctx, os.Args[1:], os.Stdin, os.Stdout, os.Stderr, os.Getenv, time.Now)
	stop()
	os.Exit(code)
}

// program is the whole of it: arguments and surroundings in, exit code out.
func program(ctx context.Context, args []string, in io.Reader, out, err io.Writer, env func(string) string, now func() time.Time) int {
	a := &app{in: in, out: out, err: err, env: env, now: now, started: now()}
	root := newRoot(a)
	root.SetArgs(args)
	root.SetIn(in)
	root.SetOut(out)
	root.SetErr(err)
	return a.finish(root.ExecuteContext(ctx))
}
