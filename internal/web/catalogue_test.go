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
	"cornerwright/internal/recording"
	"cornerwright/internal/rehearsal"
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
	{"../debrief", []string{"table_drive.go", "table_entry.go", "debrief.go", "propose.go", "spread.go", "evidence.go", "row.go", "finding.go"}},
	{"../verdict", []string{"decide.go", "price.go", "conditions.go", "analyse.go", "words.go", "plan.go", "season.go", "verdict.go", "covariates.go"}},
	{"../setting", []string{"guard.go"}},
	{"../rehearsal", []string{"guards.go"}},
	{"../paper", nil},
	{"../book", nil},
}

// unsaid are literals of more words that no person reads as a sentence of ours:
// names that are compared, and parts of other packages' keys.
var unsaid = map[string]bool{"path alone": true, "cannot tell": true, "there is no ride to lay the step on": true, "rear lift": true, "head shake": true,
	"the laps show no scatter at all: the channel is constant or too coarse for a claim": true, // in JSON alone
}

var twoWords = regexp.MustCompile(`[A-Za-z]{2,} [A-Za-z]{2,}`)

// sentences gathers the keys of say.T in all packages, and fails where a key is
// no literal or a literal is no key.
func sentences(t *testing.T) []string {
	t.Helper()
	var out []string
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
					switch {
					case from != nil && from.Name == "say" && q.Sel.Name == "T":
						lit, ok := c.Args[0].(*ast.BasicLit)
						if !ok {
							t.Errorf("%s: the text of say.T must be a literal, or the catalogue misses it", fset.Position(c.Pos()))
							return true
						}
						key, _ := strconv.Unquote(lit.Value)
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
					if s, _ := strconv.Unquote(lit.Value); twoWords.MatchString(s) && !unsaid[s] {
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
	for _, k := range []circuit.LapKind{circuit.OutLap, circuit.TimedLap, circuit.InLap, circuit.BrokenLap} {
		add(string(k))
	}
	return out
}
