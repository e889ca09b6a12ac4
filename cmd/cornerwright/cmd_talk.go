package main

import (
	"context"
	"flag"
	"fmt"
	"strconv"
	"strings"

	"cornerwright/internal/book"
	"cornerwright/internal/circuit"
	"cornerwright/internal/contract"
	"cornerwright/internal/debrief"
	"cornerwright/internal/say"
)

func talkCommands() []*command {
	return []*command{
		{name: "remark", args: "RUN [WORDS]", short: "record what the rider said, before looking at the data",
			long: "With --says the remark is recorded as given. Without it the words are read; a word with two meanings is asked back, not guessed.\n" +
				"Phases: brake, entry, mid, pickup, drive. Complaints: cornerwright remark --vocabulary.",
			example: "cornerwright remark last --turn 4,5 --phase pickup --says held-back --strength 2 \"it will not let me go\" --book season",
			setup: func(a *app, f *flag.FlagSet) func(context.Context, []string) error {
				turns := f.String("turn", "", "`TURNS` by number or name, as 4,5; left out: the whole lap")
				phase := f.String("phase", "", "`PHASE` of the turn")
				says := f.String("says", "", "`COMPLAINT` of the vocabulary")
				strength := f.Int("strength", 2, "`1|2|3`: a little, clearly, badly")
				lean := f.String("lean", "", "`full|picking-up|upright`, where told")
				rider := f.String("rider", "", "`NAME` of the rider")
				strike := f.Int("strike", 0, "take the remark `NUMBER` back")
				vocabulary := f.Bool("vocabulary", false, "list the complaints")
				return func(ctx context.Context, args []string) error {
					if *vocabulary {
						return a.vocabulary()
					}
					b, err := a.theBook()
					if err != nil {
						return err
					}
					if *strike > 0 {
						if err := b.StrikeRemark(*strike, true, a.who()); err != nil {
							return err
						}
						a.talk("remark %d is struck; it stays in the book", *strike)
						return nil
					}
					if len(args) == 0 {
						return usage("no run is named", "cornerwright remark RUN --turn 4 --says held-back \"own words\"")
					}
					r, err := b.Run(args[0])
					if err != nil {
						return err
					}
					c, err := b.Circuit(r.Circuit)
					if err != nil {
						return err
					}
					m := debrief.Remark{Run: r.Number, Phase: circuit.Phase(*phase), Lean: *lean, Says: debrief.Complaint(*says), Strength: *strength, Words: strings.Join(args[1:], " "), Rider: *rider}
					if m.Turns, err = turnList(c, *turns); err != nil {
						return err
					}
					list := []debrief.Remark{m}
					if *says == "" {
						if list, err = a.readWords(m, c); err != nil {
							return err
						}
					}
					for _, m := range list {
						if err := m.Check(); err != nil {
							return &book.Error{Kind: book.ErrInvalid, Err: err, Mend: "see what can be said: cornerwright help remark, and the complaints: cornerwright remark --vocabulary"}
						}
					}
					out := []contract.Remark{}
					for _, m := range list {
						got, err := b.AddRemark(m, a.who(), "")
						if err != nil {
							return err
						}
						out = append(out, contract.NewRemark(got))
						if !a.json {
							a.say("remark %d: %s", got.ID, remarkWords(got.Remark, c))
						}
					}
					if a.json {
						return a.answer(map[string]any{"remarks": out})
					}
					return nil
				}
			}},
		{name: "debrief", args: "RUN", short: "hold the remarks against the data, and say what nobody mentioned",
			long:    "Numbers of a finding are the median over laps with the spread of the middle four fifths, unless they say otherwise.",
			example: "cornerwright debrief last --paper debrief.pdf --book season",
			setup: func(a *app, f *flag.FlagSet) func(context.Context, []string) error {
				to := f.String("paper", "", "write the debrief sheet to `FILE.pdf` or .html")
				size := f.String("size", "A4", "paper `SIZE`, A4 or Letter")
				most := f.Int("unasked", 0, "show at most `N` findings that nobody mentioned (default 5; negative none)")
				overrule := f.String("overrule", "", "propose even where the data contradict the remark, on the say of `NAME`")
				return a.onRun(func(ctx context.Context, b *book.Book, r book.Run) error {
					res, err := b.Debrief(ctx, r.Number, debrief.Options{Unasked: *most, Overrule: *overrule})
					if err != nil {
						return err
					}
					rs, err := b.Remarks(r.Number)
					if err != nil {
						return err
					}
					if *to != "" {
						if err := a.debriefPaper(ctx, b, r, *to, *size); err != nil {
							return err
						}
						a.talk("written: %s", *to)
					}
					if a.json {
						return a.answer(contract.NewDebrief(r, rs, res))
					}
					c, err := b.Circuit(r.Circuit)
					if err != nil {
						return err
					}
					a.sayDebrief(r, c, res, rs)
					return nil
				})
			}},
		{name: "note", args: "RUN FIELD TEXT", short: "say what people know about a run: tyre, weather, slot or note", noJSON: true,
			long:    "What was told before is kept; the newest word counts.",
			example: "cornerwright note last tyre \"rear set 2, new\" --book season",
			setup: func(a *app, f *flag.FlagSet) func(context.Context, []string) error {
				return func(ctx context.Context, args []string) error {
					if len(args) < 3 {
						return usage("a run, a field and a text are needed", "cornerwright note last tyre \"rear set 2\"")
					}
					b, err := a.theBook()
					if err != nil {
						return err
					}
					r, err := b.Run(args[0])
					if err != nil {
						return err
					}
					text := strings.Join(args[2:], " ")
					if err := b.Annotate(r.Number, args[1], text, a.who()); err != nil {
						return err
					}
					a.say("run %d: %s %q", r.Number, args[1], text)
					return nil
				}
			}},
		{name: "mark", args: "RUN LAP WORD", short: "mark a lap as spoilt: traffic, mistake or yellow; \"none\" takes it off", noJSON: true,
			long:    "Marked laps are shown struck through in a verdict, never dropped silently.",
			example: "cornerwright mark last 5 traffic --book season",
			setup: func(a *app, f *flag.FlagSet) func(context.Context, []string) error {
				return func(ctx context.Context, args []string) error {
					if len(args) != 3 {
						return usage("a run, a lap and a word are needed", "cornerwright mark last 5 traffic")
					}
					lap, err := strconv.Atoi(args[1])
					if err != nil {
						return usage(fmt.Sprintf("%q is not a lap number", args[1]), "see them: cornerwright laps RUN")
					}
					b, err := a.theBook()
					if err != nil {
						return err
					}
					r, err := b.Run(args[0])
					if err != nil {
						return err
					}
					word := args[2]
					if word == "none" {
						word = ""
					}
					laps, err := b.Laps(ctx, r.Number)
					if err != nil {
						return err
					}
					for _, l := range laps {
						if l.Number == lap {
							if err := b.MarkLap(r.Number, lap, word, a.who()); err != nil {
								return err
							}
							a.say("run %d, lap %d: %s", r.Number, lap, args[2])
							return nil
						}
					}
					return &book.Error{Kind: book.ErrNotFound, Text: say.Plain(fmt.Sprintf("run %d has no lap %d", r.Number, lap)), Mend: say.Plain("see them: cornerwright laps " + fmt.Sprint(r.Number))}
				}
			}},
		{name: "strike", args: "RUN [REASON]", short: "take a run out of the lists by a mark; nothing is lost", noJSON: true,
			example: "cornerwright strike last \"wrong bike\" --book season",
			setup: func(a *app, f *flag.FlagSet) func(context.Context, []string) error {
				back := f.Bool("back", false, "put it back")
				return func(ctx context.Context, args []string) error {
					if len(args) == 0 {
						return usage("no run is named", "")
					}
					b, err := a.theBook()
					if err != nil {
						return err
					}
					r, err := b.Run(args[0])
					if err != nil {
						return err
					}
					if err := b.StrikeRun(r.Number, !*back, a.who(), strings.Join(args[1:], " ")); err != nil {
						return err
					}
					if *back {
						a.say("run %d is back in the lists", r.Number)
					} else {
						a.say("run %d is struck; it stays in the book: cornerwright runs --struck", r.Number)
					}
					return nil
				}
			}},
	}
}

// who is the name that entries are signed with.
func (a *app) who() string {
	for _, k := range []string{"CORNERWRIGHT_WHO", "USER", "USERNAME"} {
		if v := a.getenv(k); v != "" {
			return v
		}
	}
	return ""
}

func (a *app) vocabulary() error {
	if a.json {
		return a.answer(map[string]any{"complaints": debrief.Vocabulary()})
	}
	rows := [][]string{{"complaint", "what the bike does", "usual phases"}}
	for _, c := range debrief.Vocabulary() {
		w := debrief.Lookup(c)
		var phases []string
		for _, p := range w.Phases {
			phases = append(phases, string(p))
		}
		rows = append(rows, []string{string(c), w.Means, strings.Join(phases, ", ")})
	}
	a.table(rows)
	return nil
}

func turnList(c *circuit.Circuit, s string) ([]int, error) {
	var out []int
	for _, x := range strings.Split(s, ",") {
		if x = strings.TrimSpace(x); x == "" {
			continue
		}
		n, err := turnNumber(c, x)
		if err != nil {
			return nil, err
		}
		out = append(out, n)
	}
	return out, nil
}

// readWords reads free text; what was given by flags stands above it.
func (a *app) readWords(m debrief.Remark, c *circuit.Circuit) ([]debrief.Remark, error) {
	if strings.TrimSpace(m.Words) == "" {
		return nil, &book.Error{Kind: book.ErrInvalid, Text: "the remark says nothing", Mend: "give a complaint with --says, or the rider's own words"}
	}
	got := debrief.ParseWords(m.Words, c.Turns)
	if len(got.Questions) > 0 {
		q := got.Questions[0]
		var can []string
		for _, x := range q.Answers {
			can = append(can, fmt.Sprintf("--says %s (%s)", x.Says, x.Words))
		}
		text := fmt.Sprintf("%q can mean several things. %s", q.About, q.Ask)
		mend := "say which: " + strings.Join(can, ", or ")
		switch {
		case q.Turn:
			text, mend = fmt.Sprintf("%q: %s", q.About, q.Ask), "say it with --turn, or in the words: out of four"
		case len(can) == 0:
			mend = "name one with --says; see them: cornerwright remark --vocabulary"
		}
		return nil, &book.Error{Kind: book.ErrInvalid, Text: say.Plain(text), Mend: say.Plain(mend)}
	}
	if len(got.Remarks) == 0 {
		return nil, &book.Error{Kind: book.ErrInvalid, Text: "no complaint is recognised in the words", Mend: "name one with --says; see them: cornerwright remark --vocabulary"}
	}
	for i := range got.Remarks {
		x := &got.Remarks[i]
		x.Run, x.Rider, x.Words = m.Run, m.Rider, m.Words
		if len(m.Turns) > 0 {
			x.Turns = m.Turns
		}
		if m.Phase != "" {
			x.Phase = m.Phase
		}
		if m.Lean != "" {
			x.Lean = m.Lean
		}
		if x.Strength == 0 {
			x.Strength = m.Strength
		}
	}
	if !a.json {
		a.talk("read as: %s", got.Echo)
	}
	return got.Remarks, nil
}
