package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"regexp"
	"sort"
	"strings"
	"text/tabwriter"
	"time"

	"cornerwright/internal/book"
	"cornerwright/internal/contract"
	"cornerwright/internal/say"
	"cornerwright/internal/unit"
)

// app is one call of the program.
type app struct {
	stdin          io.Reader
	stdout, stderr io.Writer
	getenv         func(string) string

	cmd     *command
	bookDir string
	json    bool
	logFile string

	log     *slog.Logger
	logging io.Closer
	open    []*book.Book
}

// command is one row of the command table; help, completion and the manual page
// are made from it.
type command struct {
	name    string // "laps", "step new"
	args    string // "RUN"
	short   string // one line
	long    string // paragraphs for its help
	example string // works as it stands on a book with a run
	noBook  bool   // has no --book
	noJSON  bool   // has no --json
	// setup declares the flags and returns what does the work.
	setup func(a *app, f *flag.FlagSet) func(ctx context.Context, args []string) error
}

// usageError is wrong usage: exit code 2.
type usageError struct{ text, mend string }

func (e *usageError) Error() string { return e.text }

func usage(text, mend string) error { return &usageError{text, mend} }

// commands in the order in which help shows them. Filled in init, as help
// itself is one of them.
var commands []*command

func init() {
	for _, group := range [][]*command{demoCommands(), bookCommands(), addCommands(), showCommands(), talkCommands(), stepCommands(), answerCommands(), keepCommands(), serveCommands(), helpCommands()} {
		commands = append(commands, group...)
	}
}

// find takes the command off the arguments: the longest name that fits.
func find(args []string) (*command, []string) {
	for n := 2; n >= 1; n-- {
		if len(args) < n {
			continue
		}
		name := strings.Join(args[:n], " ")
		for _, c := range commands {
			if c.name == name {
				return c, args[n:]
			}
		}
	}
	return nil, args
}

func (a *app) dispatch(ctx context.Context, args []string) error {
	if len(args) == 0 {
		a.overview(a.stderr)
		return usage("no command is given", "see the list above")
	}
	switch args[0] {
	case "help", "-h", "-help", "--help":
		return a.help(args[1:])
	case "--version", "-version":
		args[0] = "version"
	}
	c, rest := find(args)
	if c == nil {
		var verbs []string
		for _, k := range commands {
			if noun, verb, ok := strings.Cut(k.name, " "); ok && noun == args[0] {
				verbs = append(verbs, verb)
			}
		}
		if verbs != nil {
			return usage(fmt.Sprintf("%q needs one of: %s", args[0], strings.Join(verbs, ", ")), "cornerwright help "+args[0])
		}
		mend := "list them: cornerwright help"
		if near := unit.NearestWithin(args[0], nouns(), 2); near != "" {
			mend = "did you mean: cornerwright " + near
		}
		return usage(fmt.Sprintf("there is no command %q", args[0]), mend)
	}
	a.cmd = c
	f := flag.NewFlagSet(c.name, flag.ContinueOnError)
	f.SetOutput(io.Discard)
	f.Usage = func() {}
	if !c.noBook {
		f.StringVar(&a.bookDir, "book", "", "`DIR` of the book; otherwise CORNERWRIGHT_BOOK, otherwise this folder")
	}
	if !c.noJSON {
		f.BoolVar(&a.json, "json", false, "answer in JSON")
	}
	f.StringVar(&a.logFile, "log-file", "", "append structured logs to `FILE`")
	work := c.setup(a, f)
	positional, err := parseMixed(f, rest)
	if errors.Is(err, flag.ErrHelp) {
		a.commandHelp(a.stdout, c)
		return nil
	}
	if err != nil {
		return usage(c.name+": "+flagWords(f, err), "see: cornerwright help "+c.name)
	}
	if err := a.startLog(); err != nil {
		return err
	}
	began := time.Now()
	err = work(ctx, positional)
	a.log.Info("command", "name", c.name, "ms", time.Since(began).Milliseconds(), "err", errString(err))
	return err
}

func errString(err error) string {
	if err == nil {
		return ""
	}
	return err.Error()
}

var badValue = regexp.MustCompile(`^invalid (?:boolean )?value ("(?:[^"\\]|\\.)*") for (?:flag )?-([^:]+): `)

// flagWords turns the flag package's message into ours.
func flagWords(f *flag.FlagSet, err error) string {
	if m := badValue.FindStringSubmatch(err.Error()); m != nil {
		return fmt.Sprintf("--%s takes %s, not %s", m[2], kindOf(f.Lookup(m[2])), m[1])
	}
	return strings.ReplaceAll(strings.ReplaceAll(err.Error(), "flag provided but not defined: -", "there is no flag --"), "flag needs an argument: -", "a value is missing after --")
}

// kindOf says in words what a flag takes.
func kindOf(x *flag.Flag) string {
	if g, ok := x.Value.(flag.Getter); ok {
		switch g.Get().(type) {
		case int:
			return "a whole number"
		case float64:
			return "a number"
		case bool:
			return "true or false"
		case time.Duration:
			return "a time like 90s or 10m"
		}
	}
	return "another value"
}

// parseMixed allows flags before, between and after the arguments; "--" ends
// the flags.
func parseMixed(f *flag.FlagSet, args []string) ([]string, error) {
	var tail, out []string
	for i, s := range args {
		if s == "--" {
			tail = args[i+1:]
			args = args[:i]
			break
		}
	}
	for len(args) > 0 {
		if err := f.Parse(args); err != nil {
			return nil, err
		}
		args = f.Args()
		if len(args) > 0 {
			out = append(out, args[0])
			args = args[1:]
		}
	}
	return append(out, tail...), nil
}

func (a *app) startLog() error {
	a.log = slog.New(slog.DiscardHandler)
	if a.logFile == "" {
		return nil
	}
	f, err := os.OpenFile(a.logFile, os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o644)
	if err != nil {
		return &book.Error{Kind: book.ErrInvalid, File: a.logFile, Text: "the log file cannot be written", Err: err, Mend: "name another with --log-file"}
	}
	a.logging = f
	a.log = slog.New(slog.NewJSONHandler(f, nil))
	return nil
}

func (a *app) close() {
	for _, b := range a.open {
		b.Close()
	}
	if a.logging != nil {
		a.logging.Close()
	}
}

// exit says what went wrong and gives the exit code.
func (a *app) exit(err error) int {
	if err == nil {
		return 0
	}
	var u *usageError
	if errors.As(err, &u) {
		fmt.Fprintf(a.stderr, "cornerwright: %s\n", u.text)
		mend := u.mend
		if mend == "" && a.cmd != nil {
			mend = strings.TrimSpace("cornerwright " + a.cmd.name + " " + a.cmd.args)
		}
		if mend != "" {
			fmt.Fprintf(a.stderr, "  mend: %s\n", mend)
		}
		return 2
	}
	if errors.Is(err, errSaid) {
		return 1
	}
	if errors.Is(err, context.Canceled) {
		fmt.Fprintln(a.stderr, "cornerwright: stopped; what was acknowledged before is in the book")
		return 1
	}
	fmt.Fprintf(a.stderr, "cornerwright: %v\n", err)
	return book.Exit(err)
}

// errSaid is returned where everything there is to say has been said.
var errSaid = errors.New("said")

// bookFolder is where the book lies.
func (a *app) bookFolder() (string, error) {
	if a.bookDir != "" {
		return a.bookDir, nil
	}
	if dir := a.getenv("CORNERWRIGHT_BOOK"); dir != "" {
		return dir, nil
	}
	if _, err := os.Stat("book.db"); err == nil {
		return ".", nil
	}
	return "", usage("no book is named", "give --book DIR, set CORNERWRIGHT_BOOK, or make one: cornerwright new DIR")
}

// theBook opens the book for writing.
func (a *app) theBook() (*book.Book, error) {
	dir, err := a.bookFolder()
	if err != nil {
		return nil, err
	}
	b, err := book.Open(dir)
	if err != nil {
		return nil, err
	}
	return a.opened(b), nil
}

// toRead opens the book for reading; beside another process that has it, too.
func (a *app) toRead() (*book.Book, error) {
	dir, err := a.bookFolder()
	if err != nil {
		return nil, err
	}
	b, err := book.Open(dir)
	if errors.Is(err, book.ErrLocked) {
		b, err = book.Open(dir, book.ReadOnly())
	}
	if err != nil {
		return nil, err
	}
	return a.opened(b), nil
}

func (a *app) opened(b *book.Book) *book.Book {
	a.open = append(a.open, b)
	for _, s := range b.Swept() {
		a.talk("%s", s)
		a.log.Warn("swept", "what", s)
	}
	return b
}

// talk is for people, on stderr.
func (a *app) talk(format string, args ...any) { fmt.Fprintf(a.stderr, format+"\n", args...) }

// say is the result, on stdout.
func (a *app) say(format string, args ...any) { fmt.Fprintf(a.stdout, format+"\n", args...) }

func (a *app) answer(v any) error { return contract.Write(a.stdout, v) }

// count is a number with its noun: 1 lap, 2 laps.
func count(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return fmt.Sprintf("%d %ss", n, noun)
}

// table prints rows with aligned columns; the first row is the head.
func (a *app) table(rows [][]string) {
	w := tabwriter.NewWriter(a.stdout, 0, 0, 2, ' ', 0)
	for _, r := range rows {
		for i := range r {
			if r[i] == "" {
				r[i] = "-"
			}
		}
		fmt.Fprintln(w, strings.Join(r, "\t"))
	}
	w.Flush()
}

// one takes exactly one argument.
func one(args []string, what string) (string, error) {
	if len(args) != 1 {
		return "", usage(fmt.Sprintf("exactly one %s is needed, %d given", what, len(args)), "")
	}
	return args[0], nil
}

func none(args []string) error {
	if len(args) > 0 {
		return usage(fmt.Sprintf("%q is one argument too many", args[0]), "")
	}
	return nil
}

// onRun is a command that reads the book and speaks of the run that its only
// argument names.
func (a *app) onRun(do func(ctx context.Context, b *book.Book, r book.Run) error) func(context.Context, []string) error {
	return func(ctx context.Context, args []string) error {
		b, err := a.toRead()
		if err != nil {
			return err
		}
		r, err := runArg(b, args)
		if err != nil {
			return err
		}
		return do(ctx, b, r)
	}
}

// runArg is a run named by the only argument, "last" where there is none.
func runArg(b *book.Book, args []string) (book.Run, error) {
	switch len(args) {
	case 0:
		return b.Run("last")
	case 1:
		return b.Run(args[0])
	}
	return book.Run{}, usage(fmt.Sprintf("one run is needed, %d given", len(args)), "")
}

// writeNew writes a file of ours whole or not at all.
func writeNew(path string, write func(io.Writer) error) error {
	bad := func(err error) error {
		var be *book.Error
		if errors.As(err, &be) {
			return err
		}
		return &book.Error{Kind: book.ErrInvalid, File: path, Text: "the file cannot be written", Err: err, Mend: "name a place that you may write to, with room"}
	}
	if dir := filepath.Dir(path); !isFolder(dir) {
		return &book.Error{Kind: book.ErrInvalid, File: path, Text: say.Plain("there is no folder " + dir), Mend: "make it, or name another"}
	}
	f, err := os.CreateTemp(filepath.Dir(path), ".cornerwright-*")
	if err != nil {
		return bad(err)
	}
	err = write(f)
	if err == nil {
		err = f.Chmod(0o644)
	}
	if err == nil {
		err = f.Sync()
	}
	if cerr := f.Close(); err == nil {
		err = cerr
	}
	if err == nil {
		err = os.Rename(f.Name(), path)
	}
	if err != nil {
		os.Remove(f.Name())
		return bad(err)
	}
	return nil
}

// writeFresh is writeNew for what is named by hand and may be anything: a file
// that is there, a recording perhaps, is not written over.
func writeFresh(path string, write func(io.Writer) error) error {
	if _, err := os.Lstat(path); err == nil {
		return &book.Error{Kind: book.ErrConflict, File: path, Text: "there is a file of this name already", Mend: "name a new file; what is there is not written over"}
	}
	return writeNew(path, write)
}

func isFolder(dir string) bool {
	info, err := os.Stat(dir)
	return err == nil && info.IsDir()
}

// nouns lists the commands in the order of the table, verbs gathered.
func nouns() []string {
	var out []string
	seen := map[string]bool{}
	for _, c := range commands {
		n, _, _ := strings.Cut(c.name, " ")
		if !seen[n] {
			seen[n] = true
			out = append(out, n)
		}
	}
	return out
}

func sortedKeys[V any](m map[string]V) []string {
	var out []string
	for k := range m {
		out = append(out, k)
	}
	sort.Strings(out)
	return out
}
