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
	"syscall"
)

func main() {
	askHugePages()
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
