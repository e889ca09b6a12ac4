package main

import (
	"context"
	"flag"
	"log/slog"
	"os"
	"strings"

	"cornerwright/internal/book"
	"cornerwright/internal/web"
)

// serving is what a command that serves pages lets one choose.
type serving struct {
	listen     string
	share, tls bool
}

const listenHere, listenAll = "127.0.0.1:8765", ":8765"

func serveCommands() []*command {
	return []*command{
		{name: "serve", args: "", short: "serve the book as pages, on this machine or to phones", noJSON: true,
			long: "Without --share only this machine can reach the pages. With it, phones on the local network can join by a pairing code: riders read and say what the bike did, " +
				"crew do everything. The riders' code is printed here, to be scanned; new codes, and who is in, are on the page Sharing.\n" +
				"--tls encrypts the connection with a certificate made at the start; compare the fingerprint when the phone warns.\n" +
				"Stop with Ctrl-C: what is being taken is finished, what was acknowledged is in the book. Troubles go to stderr, or with every request to --log-file.",
			example: "cornerwright serve --book season --share --tls",
			setup: func(a *app, f *flag.FlagSet) func(context.Context, []string) error {
				var s serving
				f.StringVar(&s.listen, "listen", "", "`ADDR` to serve at, port 0 takes a free one; otherwise "+listenHere+", or "+listenAll+" with --share")
				f.BoolVar(&s.share, "share", false, "let phones of the local network in, by a pairing code")
				f.BoolVar(&s.tls, "tls", false, "encrypt with a certificate made now")
				return func(ctx context.Context, args []string) error {
					if err := none(args); err != nil {
						return err
					}
					b, err := a.theBook()
					if err != nil {
						return err
					}
					if s.listen == "" {
						s.listen = listenHere
						if s.share {
							s.listen = listenAll
						}
					}
					return a.serve(ctx, b, s)
				}
			}},
	}
}

// serve runs until it is stopped.
func (a *app) serve(ctx context.Context, b *book.Book, s serving) error {
	log := a.log
	if a.logFile == "" {
		log = slog.New(slog.NewTextHandler(a.stderr, &slog.HandlerOptions{Level: slog.LevelWarn}))
	}
	h, err := web.New(b, web.Options{Log: log, Share: s.share, TLS: s.tls})
	if err != nil {
		return err
	}
	ended := make(chan struct{})
	defer close(ended)
	go func() {
		select {
		case <-ctx.Done():
			if n := web.Uploads(h); n > 0 {
				a.talk("stopping: waiting up to 20 s for %d recordings that are being taken", n)
			}
		case <-ended:
		}
	}()
	err = web.Serve(ctx, s.listen, h, func(w web.Welcome) { a.welcome(b, w) })
	if ctx.Err() != nil && err == nil {
		a.talk("stopped")
	}
	return err
}

// welcome says where the pages are and how phones get in.
func (a *app) welcome(b *book.Book, w web.Welcome) {
	a.say("serving %s at %s; stop with Ctrl-C", b.Dir(), w.Address)
	if w.Fingerprint != "" {
		a.say("certificate, SHA-256: %s", w.Fingerprint)
	}
	if w.Code == "" {
		return
	}
	if w.Phones == "" {
		a.say("no phone can reach this address: join a network or open a hotspot, and do not listen on the loopback")
	} else {
		a.say("riders open %s or scan this; the code is %s until %s", w.Phones, w.Code, w.Until.Format("15:04:05"))
		a.say("%s", a.dark(w.Picture))
	}
	a.say("new codes, and who is in: %sshare", w.Address)
	if w.Fingerprint == "" {
		a.say("the connection is not encrypted; with --tls it is")
	}
}

// dark puts a code to scan on black in a terminal of any colours.
func (a *app) dark(picture string) string {
	if f, ok := a.stdout.(*os.File); !ok || !terminal(f) {
		return picture
	}
	lines := strings.Split(strings.TrimSuffix(picture, "\n"), "\n")
	for i := range lines {
		lines[i] = "\x1b[97;40m" + lines[i] + "\x1b[0m"
	}
	return strings.Join(lines, "\n")
}
