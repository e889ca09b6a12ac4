// Command cornerwright develops a track motorcycle's electronics from what the
// rider says and what the recording shows: remark, evidence, one bounded step,
// rehearsal, plan, verdict.
//
// It reads recordings and prints; it never writes to a bike. Run it without
// arguments for the list of commands.
package main

import (
	"context"
	"io"
	"os"
	"os/signal"
	"runtime/debug"
	"syscall"
)

func main() {
	// The heap holds long rows of numbers, in which there is nothing to look for:
	// collecting twice as often costs next to nothing and saves a fifth of the
	// memory, and the time that the system takes to clear it.
	if os.Getenv("GOGC") == "" {
		debug.SetGCPercent(50)
	}
	go askHugePages()
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	code := run(ctx, os.Args[1:], os.Stdin, os.Stdout, os.Stderr, os.Getenv)
	stop()
	os.Exit(code)
}

// run is the program: arguments and streams in, exit code out.
func run(ctx context.Context, args []string, stdin io.Reader, stdout, stderr io.Writer, getenv func(string) string) int {
	a := &app{stdin: stdin, stdout: stdout, stderr: stderr, getenv: getenv}
	defer a.close()
	return a.exit(a.dispatch(ctx, args))
}
