package main

import (
	"context"
	"flag"
	"fmt"
	"io"
	"runtime/debug"
	"strings"
	"text/tabwriter"
)

func helpCommands() []*command {
	return []*command{
		{name: "version", short: "print version and build", noBook: true,
			long:    "The version comes from the build: a tag, or the commit it was built from.",
			example: "cornerwright version",
			setup: func(a *app, f *flag.FlagSet) func(context.Context, []string) error {
				return func(ctx context.Context, args []string) error {
					if err := none(args); err != nil {
						return err
					}
					v := version()
					if a.json {
						return a.answer(v)
					}
					a.say("cornerwright %s", v.Version)
					if v.Commit != "" {
						a.say("commit %s %s", v.Commit, v.Time)
					}
					a.say("%s", v.Go)
					return nil
				}
			}},
		{name: "completion", args: "SHELL", short: "print a completion script for bash, zsh or fish", noBook: true, noJSON: true,
			long:    "Put it where the shell looks for completions, or source it.",
			example: "source <(cornerwright completion bash)",
			setup: func(a *app, f *flag.FlagSet) func(context.Context, []string) error {
				return func(ctx context.Context, args []string) error {
					sh, err := one(args, "shell")
					if err != nil {
						return err
					}
					return completion(a.stdout, sh)
				}
			}},
		{name: "man", short: "print the manual page (roff)", noBook: true, noJSON: true,
			long:    "The page is made from the same table as this help.",
			example: "cornerwright man > cornerwright.1",
			setup: func(a *app, f *flag.FlagSet) func(context.Context, []string) error {
				return func(ctx context.Context, args []string) error {
					if err := none(args); err != nil {
						return err
					}
					manual(a.stdout)
					return nil
				}
			}},
	}
}

// build is the answer of `version --json`.
type build struct {
	Version  string `json:"version"`
	Commit   string `json:"commit,omitempty"`
	Time     string `json:"time,omitempty"`
	Modified bool   `json:"modified,omitempty"`
	Go       string `json:"go"`
}

func version() build {
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return build{Version: "unknown", Go: "unknown"}
	}
	v := build{Version: info.Main.Version, Go: info.GoVersion}
	for _, s := range info.Settings {
		switch s.Key {
		case "vcs.revision":
			v.Commit = s.Value
		case "vcs.time":
			v.Time = s.Value
		case "vcs.modified":
			v.Modified = s.Value == "true"
		}
	}
	if v.Version == "" || v.Version == "(devel)" {
		v.Version = "development build"
	}
	return v
}

func (a *app) overview(w io.Writer) {
	fmt.Fprintln(w, "cornerwright: from the rider's words to one bounded change, and an honest answer after it")
	fmt.Fprintln(w, "\nusage: cornerwright COMMAND [ARGUMENTS] [FLAGS]")
	fmt.Fprintln(w)
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	for _, c := range commands {
		fmt.Fprintf(t, "  %s %s\t%s\n", c.name, c.args, c.short)
	}
	t.Flush()
	fmt.Fprintln(w, "\nRUN is a number, the beginning of an id, or last. Commands that show something take --json.")
	fmt.Fprintln(w, "exit codes: 0 done, 1 the input was bad, 2 wrong usage, 3 the book is damaged or locked")
	fmt.Fprintln(w, "\nhelp of a command: cornerwright help COMMAND")
}

func (a *app) help(args []string) error {
	if len(args) == 0 {
		a.overview(a.stdout)
		return nil
	}
	if c, rest := find(args); c != nil && len(rest) == 0 {
		a.commandHelp(a.stdout, c)
		return nil
	}
	found := false
	for _, c := range commands {
		if noun, _, ok := strings.Cut(c.name, " "); ok && noun == args[0] && len(args) == 1 {
			if found {
				fmt.Fprintln(a.stdout)
			}
			a.commandHelp(a.stdout, c)
			found = true
		}
	}
	if !found {
		return usage(fmt.Sprintf("there is no command %q", strings.Join(args, " ")), "list them: cornerwright help")
	}
	return nil
}

// flagsOf are the flags of a command, as declared.
func (a *app) flagsOf(c *command) []*flag.Flag {
	f := flag.NewFlagSet(c.name, flag.ContinueOnError)
	if !c.noBook {
		f.String("book", "", "`DIR` of the book; otherwise CORNERWRIGHT_BOOK, otherwise this folder")
	}
	if !c.noJSON {
		f.Bool("json", false, "answer in JSON")
	}
	f.String("log-file", "", "append structured logs to `FILE`")
	c.setup(a, f)
	var out []*flag.Flag
	f.VisitAll(func(x *flag.Flag) { out = append(out, x) })
	return out
}

func (a *app) commandHelp(w io.Writer, c *command) {
	fmt.Fprintf(w, "usage: cornerwright %s\n\n%s\n", strings.Join(strings.Fields(c.name+" "+c.args+" [FLAGS]"), " "), sentence(c.short))
	if c.long != "" {
		fmt.Fprintf(w, "\n%s\n", c.long)
	}
	fmt.Fprintln(w, "\nflags:")
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	for _, x := range a.flagsOf(c) {
		name, words := flag.UnquoteUsage(x)
		def := ""
		if x.DefValue != "" && x.DefValue != "false" && x.DefValue != "0" {
			def = " (default " + x.DefValue + ")"
		}
		fmt.Fprintf(t, "  --%s\t%s%s\n", strings.TrimSpace(x.Name+" "+name), words, def)
	}
	t.Flush()
	fmt.Fprintf(w, "\nexample:\n  %s\n", strings.ReplaceAll(c.example, "\n", "\n  "))
}

func sentence(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:] + "."
}

// completion writes a script made from the command table.
func completion(w io.Writer, shell string) error {
	names := strings.Join(append(nouns(), "help"), " ")
	verbs := map[string][]string{}
	flags := map[string][]string{}
	a := &app{getenv: func(string) string { return "" }}
	for _, c := range commands {
		if n, v, ok := strings.Cut(c.name, " "); ok {
			verbs[n] = append(verbs[n], v)
		}
		n, _, _ := strings.Cut(c.name, " ")
		for _, f := range a.flagsOf(c) {
			flags[n] = append(flags[n], "--"+f.Name)
		}
	}
	for n := range flags {
		flags[n] = unique(flags[n])
	}
	switch shell {
	case "bash", "zsh":
		if shell == "zsh" {
			fmt.Fprintln(w, "autoload -U +X bashcompinit && bashcompinit")
		}
		fmt.Fprintf(w, "_cornerwright() {\n  local cur=${COMP_WORDS[COMP_CWORD]} noun=${COMP_WORDS[1]}\n  local words=\"\"\n")
		fmt.Fprintf(w, "  if [ \"$COMP_CWORD\" -eq 1 ]; then words=%q; else case \"$noun\" in\n", names)
		for _, n := range nouns() {
			fmt.Fprintf(w, "    %s) words=%q ;;\n", n, strings.Join(append(append([]string{}, verbs[n]...), flags[n]...), " "))
		}
		fmt.Fprintf(w, "  esac; fi\n  COMPREPLY=( $(compgen -W \"$words\" -- \"$cur\") )\n  [[ $cur == -* ]] || COMPREPLY+=( $(compgen -f -- \"$cur\") )\n}\ncomplete -F _cornerwright cornerwright\n")
	case "fish":
		for _, c := range commands {
			n, v, ok := strings.Cut(c.name, " ")
			if !ok {
				fmt.Fprintf(w, "complete -c cornerwright -n __fish_use_subcommand -a %s -d %q\n", n, c.short)
				continue
			}
			fmt.Fprintf(w, "complete -c cornerwright -n __fish_use_subcommand -a %s\n", n)
			fmt.Fprintf(w, "complete -c cornerwright -n '__fish_seen_subcommand_from %s' -a %s -d %q\n", n, v, c.short)
		}
		for _, n := range nouns() {
			for _, f := range flags[n] {
				fmt.Fprintf(w, "complete -c cornerwright -n '__fish_seen_subcommand_from %s' -l %s\n", n, strings.TrimPrefix(f, "--"))
			}
		}
	default:
		return usage(fmt.Sprintf("no completion is made for %q", shell), "use bash, zsh or fish")
	}
	return nil
}

func unique(s []string) []string {
	seen := map[string]bool{}
	var out []string
	for _, x := range s {
		if !seen[x] {
			seen[x] = true
			out = append(out, x)
		}
	}
	return out
}

// manual writes the manual page in roff, section 1.
func manual(w io.Writer) {
	esc := func(s string) string {
		s = strings.NewReplacer(`\`, `\e`, "-", `\-`).Replace(s)
		var lines []string
		for _, l := range strings.Split(s, "\n") {
			if strings.HasPrefix(l, ".") || strings.HasPrefix(l, "'") {
				l = `\&` + l
			}
			lines = append(lines, l)
		}
		return strings.Join(lines, "\n")
	}
	a := &app{getenv: func(string) string { return "" }}
	fmt.Fprintf(w, ".TH CORNERWRIGHT 1 \"\" %q\n.SH NAME\ncornerwright \\- from the rider's words to one bounded change\n", "cornerwright "+version().Version)
	fmt.Fprintf(w, ".SH SYNOPSIS\n.B cornerwright\n.I COMMAND\n[ARGUMENTS] [FLAGS]\n.SH DESCRIPTION\nDevelops a track motorcycle's electronics from remarks and recordings. It computes, records and prints; it never writes to a bike.\n.SH COMMANDS\n")
	for _, c := range commands {
		fmt.Fprintf(w, ".SS %s\n%s\n", esc(strings.TrimSpace(c.name+" "+c.args)), esc(sentence(c.short)))
		if c.long != "" {
			fmt.Fprintf(w, ".PP\n%s\n", esc(c.long))
		}
		for _, x := range a.flagsOf(c) {
			name, words := flag.UnquoteUsage(x)
			fmt.Fprintf(w, ".TP\n.B %s\n%s\n", esc(strings.TrimSpace("--"+x.Name+" "+name)), esc(words))
		}
		fmt.Fprintf(w, ".PP\nExample:\n.nf\n%s\n.fi\n", esc(c.example))
	}
	fmt.Fprintf(w, ".SH EXIT STATUS\n0 done, 1 the input was bad, 2 wrong usage, 3 the book is damaged or locked.\n.SH ENVIRONMENT\n.TP\n.B CORNERWRIGHT_BOOK\nthe folder of the book\n")
}
