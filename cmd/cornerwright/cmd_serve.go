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
			long:    "The pages are served to this machine alone. The address is printed; stop with Ctrl-C.",
			example: "cornerwright serve --book season",
			setup: func(a *app, f *flag.FlagSet) func(context.Context, []string) error {
				listen := f.String("listen", "127.0.0.1:8760", "`ADDR` to serve at, a loopback address")
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

// serve answers until the context ends.
func (a *app) serve(ctx context.Context, b *book.Book, listen string) error {
	h, err := web.New(b, web.Options{Log: a.log})
	if err != nil {
		return err
	}
	return web.Serve(ctx, listen, h, func(address string) {
		a.say("pages at %s (stop with Ctrl-C)", address)
	})
}
