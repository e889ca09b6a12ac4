package web

import (
	"go/ast"
	"go/parser"
	gotoken "go/token"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"cornerwright/internal/book"
	"cornerwright/internal/circuit"
	"cornerwright/internal/debrief"
	"cornerwright/internal/intake/table"
	"cornerwright/internal/recording"
	"cornerwright/internal/rehearsal"
	"cornerwright/internal/ride"
	"cornerwright/internal/say"
	"cornerwright/internal/setting"
	"cornerwright/internal/verdict"
)

// The packages that make sentences for people. In those that are swept, no
// literal of two words or more may stand outside say.T, but for what prose lists:
// a sentence made in another way would stay English on every page.
var makers = []struct {
	dir   string
	swept []string // files
}{
	{"../debrief", []string{"table_drive.go", "table_entry.go", "look_drive.go", "look_entry.go", "unasked.go", "debrief.go", "propose.go", "spread.go", "evidence.go", "row.go", "finding.go"}},
	{"../verdict", []string{"decide.go", "price.go", "conditions.go", "analyse.go", "words.go", "plan.go", "season.go", "verdict.go", "covariates.go"}},
	{"../setting", []string{"guard.go", "change.go", "sheet.go"}},
	{"../rehearsal", []string{"guards.go", "footprint.go", "entry.go", "slip.go"}},
	{"../circuit", []string{"edit.go", "edits.go", "laps.go", "recognise.go", "split.go", "file.go"}},
	{"../ride", []string{"signals.go", "pit.go", "gears.go", "slip.go"}},
	{"../bike", []string{"parse.go", "parse_setting.go", "error.go"}},
	{"../intake", []string{"archive.go", "build.go", "decide.go", "degrees.go", "dbc.go", "detect.go", "gpx.go", "health.go", "held.go", "infer.go", "open.go", "physics.go", "physics_lean.go", "physics_speed.go", "plausible.go", "stream.go", "textread.go", "timefix.go", "timeorder.go"}},
	{"../intake/table", []string{"parse.go", "sniff.go", "columns.go"}},
	{"../draw", []string{"cells.go", "intervals.go", "map.go", "multiples.go", "season.go", "strip.go"}},
	{"../paper", []string{"evidence.go"}},
	{"../book", []string{"errors.go", "remarks.go", "season.go", "tx.go"}},
	{".", []string{"add.go", "circuit.go", "day.go", "door.go", "evidence.go", "guard.go", "join.go", "phone.go", "run.go", "step.go", "remark.go", "propose.go", "trace.go", "trace_data.go", "trace_spans.go", "turn.go", "watch.go", "work.go"}},
}

// unsaid are literals of more words that no person reads as a sentence of ours:
// names that are compared, and parts of other packages' keys.
var unsaid = map[string]bool{"path alone": true, "gps and front wheel": true, "cannot tell": true, "there is no ride to lay the step on": true, "rear lift": true, "head shake": true,
	// Names that stand in files and logs.
	"SQLite format 3": true, "off false no aus nein non": true, "on true yes ein ja oui si an": true, "<!doctype html": true, "path speed": true, "path yaw rate": true, "states no unit": true, "text table": true,
	`[slots] with reference = "A" and trial = "B"`: true, `more = "what a larger value does"`: true, "not found": true, "no space": true, "is full": true, "disk quota": true, "the columns below": true,
	// The day report is paper, which is English.
	"Day report · ": true, "%s, %d laps on it": true, "best lap": true, "%s in run %d": true,
	"the laps show no scatter at all: the channel is constant or too coarse for a claim": true, // in JSON alone
}

var twoWords = regexp.MustCompile(`[A-Za-z]{2,} [A-Za-z]{2,}`)

// query is a statement for the database.
var query = regexp.MustCompile(`\b(SELECT|INSERT|UPDATE|DELETE|WHERE|FROM|ORDER BY)\b`)

// unseen are functions whose texts stand on no page: the log, and short answers
// to what is no page of ours.
var unseen = map[string]bool{"http.Error": true, "log.Info": true, "log.Warn": true, "log.Error": true, "log.Debug": true}

// sentences gathers the keys of say.T in all packages, and fails where a key is
// no literal or a literal is no key.
func sentences(t *testing.T) []string {
	t.Helper()
	var out []string
	closed := map[string]bool{}
	for _, w := range listed() {
		closed[w] = true
	}
	for _, m := range makers {
		swept := map[string]bool{}
		for _, f := range m.swept {
			swept[f] = true
		}
		list, err := filepath.Glob(m.dir + "/*.go")
		if err != nil || len(list) == 0 {
			t.Fatalf("%s: %v", m.dir, err)
		}
		for _, path := range list {
			if strings.HasSuffix(path, "_test.go") {
				continue
			}
			fset := gotoken.NewFileSet()
			f, err := parser.ParseFile(fset, path, nil, 0)
			if err != nil {
				t.Fatal(err)
			}
			said := map[ast.Node]bool{}
			ast.Inspect(f, func(n ast.Node) bool {
				if cc, ok := n.(*ast.CaseClause); ok { // compared, not said
					for _, e := range cc.List {
						said[e] = true
					}
				}
				c, ok := n.(*ast.CallExpr)
				if !ok {
					return true
				}
				// count makes its own plurals; a panic is a programmer's.
				if q, ok := c.Fun.(*ast.Ident); ok && (q.Name == "count" || q.Name == "panic") {
					for _, a := range c.Args {
						ast.Inspect(a, func(n ast.Node) bool { said[n] = true; return true })
					}
				}
				if q, ok := c.Fun.(*ast.SelectorExpr); ok && len(c.Args) > 0 {
					from, _ := q.X.(*ast.Ident)
					on := ""
					if from != nil {
						on = from.Name
					} else if of, ok := q.X.(*ast.SelectorExpr); ok {
						on = of.Sel.Name
					}
					if unseen[on+"."+q.Sel.Name] {
						for _, a := range c.Args {
							said[a] = true
						}
					}
					switch {
					case from != nil && from.Name == "say" && (q.Sel.Name == "T" || q.Sel.Name == "Error"):
						lit, ok := c.Args[0].(*ast.BasicLit)
						if !ok {
							t.Errorf("%s: the text of say.%s must be a literal, or the catalogue misses it", fset.Position(c.Pos()), q.Sel.Name)
							return true
						}
						key, _ := strconv.Unquote(lit.Value)
						if n := len(say.Places(key)); n != len(c.Args)-1 && !c.Ellipsis.IsValid() {
							t.Errorf("%s: %q has %d places, %d values are given", fset.Position(c.Pos()), key, n, len(c.Args)-1)
						}
						out = append(out, key)
						said[lit] = true
					case from != nil && from.Name == "fmt" && q.Sel.Name == "Errorf":
						for _, a := range c.Args {
							said[a] = true
						}
					}
				}
				return true
			})
			if !swept[filepath.Base(path)] {
				continue
			}
			ast.Inspect(f, func(n ast.Node) bool {
				if lit, ok := n.(*ast.BasicLit); ok && lit.Kind == gotoken.STRING && !said[lit] {
					if s, _ := strconv.Unquote(lit.Value); twoWords.MatchString(s) && !unsaid[s] && !closed[s] && !query.MatchString(s) {
						t.Errorf("%s: %q is not in the catalogue: make it with say.T", fset.Position(lit.Pos()), s)
					}
				}
				return true
			})
		}
	}
	return out
}

// listed are the words of closed lists, which pages look up as they are.
func listed() []string {
	var out []string
	add := func(w ...string) {
		for _, s := range w {
			if s != "" {
				out = append(out, s)
			}
		}
	}
	for _, w := range debrief.Complaints {
		add(spaced(w.Says), w.Means, w.Group, w.Ask)
		for _, a := range w.Means2 {
			add(a.Words)
		}
	}
	for _, p := range circuit.Phases {
		add(phaseName(p))
	}
	for _, s := range []debrief.Stance{debrief.Agrees, debrief.Partly, debrief.Contradicts, debrief.CannotTell} {
		add(string(s))
	}
	add(rehearsal.Cautions...)
	for _, a := range []verdict.Answer{verdict.Better, verdict.Worse, verdict.NoDifference, verdict.NotEnoughLaps} {
		add(string(a), spaced(a))
	}
	for _, d := range []verdict.Design{verdict.Interleaved, verdict.ThereAndBack, verdict.OneSwitch, verdict.Alternating, verdict.RunAgainstRun, verdict.RunThereAndBack, verdict.ReplicatedRuns, verdict.SeveralDays} {
		add(string(d), spaced(d))
	}
	for _, w := range []verdict.Weight{verdict.Confounds, verdict.Weakens, verdict.Notes} {
		add(string(w))
	}
	add("laps on the tyre", "fuel", "track temperature", "air temperature", "temperature told")
	for _, m := range book.Measures() {
		add(m.Name, spaced(m.Name), m.Words)
	}
	for _, list := range moves {
		for _, m := range list {
			add(m.Words)
		}
	}
	for _, m := range book.SeasonMeasures() {
		add(m, spaced(m))
	}
	for _, r := range []float64{0, 20, 40, 60, 200} { // 0: a kink
		for _, d := range []circuit.Direction{circuit.Left, circuit.Right} {
			for _, apexes := range [][]float64{nil, {1, 2}} {
				add(book.TurnShape(circuit.Turn{MinRadius: r, Direction: d, Kink: r == 0, Apexes: apexes}))
			}
		}
	}
	for _, k := range []ride.Kind{ride.Cut, ride.Spin, ride.Blip, ride.Limiter, ride.Wheelie, ride.RearLift, ride.Lock, ride.Hop, ride.Upshift, ride.PitSpeed, ride.Weave, ride.Wobble, ride.Hesitation, ride.Highside} {
		add(string(k), spaced(k))
	}
	add("undated")
	add("input", "confounded", "design", "too-few-laps", "recording")
	add(book.Proposed, book.Loaded, book.Kept, book.Reverted, book.Repeated)
	add(stages...)
	add("there is no ride to lay the step on")
	for _, g := range []string{setting.GuardRange, setting.GuardLargestStep, setting.GuardOneSetting, setting.GuardReference, setting.GuardDayDrift, setting.GuardSmooth, setting.GuardMonotone, setting.GuardRearLoad,
		setting.GuardHighside, setting.GuardSurface, setting.GuardTyre, setting.GuardWeather, setting.GuardRadii, setting.GuardUnvisited, setting.GuardSamePlace, setting.GuardUnverified} {
		add(spaced(g))
	}
	add("at full lean", "while picking the bike up", "upright", "front", "rear", "path alone", "none", string(circuit.Left), string(circuit.Right))
	add(string(recording.Note), string(recording.Warning), string(recording.Fault))
	for _, d := range recording.Catalogue() {
		add(string(d.Quantity), spaced(d.Name))
	}
	for k := table.Number; k <= table.Skip; k++ {
		add(k.String())
	}
	for _, k := range []recording.MarkKind{recording.Stuck, recording.Spike, recording.OutOfRange, recording.Saturated, recording.Gap, recording.Dropout, recording.ClockJump, recording.Rescaled, recording.Suspect} {
		add(string(k))
	}
	for _, q := range quantities {
		add(q.name)
	}
	add("light", "dark", "warm", "cold", "worn", "changed", "dry", "wet", "rider", "crew", "nobody", // choices
		"a table", "a list of tables", "a list", "a text", "a number", "something else") // what a bike file holds
	add("bike", "circuit", "tyre", "weather", "slot", "fork", "shock", "gear", "speed", "lean", "rpm", "grip", "throttle", "rear slip", "cut", "front brake", "lap", "traffic", "mistake", "yellow")
	for _, k := range []circuit.LapKind{circuit.OutLap, circuit.TimedLap, circuit.InLap, circuit.BrokenLap} {
		add(string(k))
	}
	return out
}
