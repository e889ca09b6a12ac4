package main

import (
	"context"
	"flag"

	"cornerwright/internal/book"
	"cornerwright/internal/web"
)

func serveCommands() []*command {
	return []*command{
		{name: "serve", args: "", short: "serve the book as pages on this machine", noJSON: true,
			long:    "Only this machine can reach the pages. Stop with Ctrl-C; what was acknowledged is in the book.",
			example: "cornerwright serve --book season --listen 127.0.0.1:8765",
			setup: func(a *app, f *flag.FlagSet) func(context.Context, []string) error {
				listen := f.String("listen", "127.0.0.1:8765", "`ADDR` to serve at; port 0 takes a free one")
				return func(ctx context.Context, args []string) error {
					if err := none(args); err != nil {
						return err
					}
					b, err := a.theBook()
					if err != nil {
						return err
					}
					return a.serve(ctx, b, *listen)
				}
			}},
	}
}

// serve runs until it is stopped.
func (a *app) serve(ctx context.Context, b *book.Book, listen string) error {
	h, err := web.New(b, web.Options{Log: a.log})
	if err != nil {
		return err
	}
	err = web.Serve(ctx, listen, h, func(address string) { a.say("serving %s at %s; stop with Ctrl-C", b.Dir(), address) })
	if ctx.Err() != nil && err == nil {
		a.talk("stopped")
	}
	return err
}
