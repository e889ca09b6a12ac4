package floor

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

const module = "cornerwright/"

// room names the package of a directory relative to the module's root: the
// first element below internal/, or "cmd".
func room(dir string) string {
	dir = filepath.ToSlash(dir)
	if rest, ok := strings.CutPrefix(dir, "internal/"); ok {
		name, _, _ := strings.Cut(rest, "/")
		return name
	}
	if strings.HasPrefix(dir, "cmd/") {
		return "cmd"
	}
	return ""
}

func TestImportsPointDown(t *testing.T) {
	root := filepath.Join("..", "..")
	outside := map[string]bool{}
	for _, o := range Outside {
		outside[o] = true
	}
	files, arrows := 0, 0
	err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		rel, _ := filepath.Rel(root, path)
		if d.IsDir() {
			name := d.Name()
			if name == "testdata" || name == "bench" || (strings.HasPrefix(name, ".") && name != "." && name != "..") {
				return filepath.SkipDir
			}
			return nil
		}
		if !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
			return nil
		}
		from := room(filepath.Dir(rel))
		if from == "" {
			return nil
		}
		floor, ok := Of[from]
		if !ok {
			t.Errorf("%s: package %q stands on no floor: add it to floor.Of", rel, from)
			return nil
		}
		files++
		fset := token.NewFileSet()
		f, err := parser.ParseFile(fset, path, nil, parser.ParseComments)
		if err != nil {
			return err
		}
		for _, im := range f.Imports {
			p, _ := strconv.Unquote(im.Path.Value)
			where := fset.Position(im.Pos()).Line
			if rest, ok := strings.CutPrefix(p, module); ok {
				arrows++
				to := room(rest)
				if to == from { // rooms may have rooms of their own
					continue
				}
				if Of[to] >= floor {
					t.Errorf("%s:%d: %s (floor %d) imports %s (floor %d): imports point down only", rel, where, from, floor, to, Of[to])
				}
				continue
			}
			if floor <= Pure && outside[p] && !(Support[from] && p == "os") {
				t.Errorf("%s:%d: %s is pure (floor %d) and may not import %s", rel, where, from, floor, p)
			}
		}
		if floor <= Pure {
			noClock(t, rel, fset, f)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if files < 40 || arrows < 40 {
		t.Errorf("only %d files and %d arrows seen: the walk is broken", files, arrows)
	}
}

// noClock finds uses of the clock in a pure package: time.Now and its like.
func noClock(t *testing.T, rel string, fset *token.FileSet, f *ast.File) {
	t.Helper()
	clock := map[string]bool{"Now": true, "Since": true, "Until": true, "Sleep": true, "After": true, "Tick": true, "NewTimer": true, "NewTicker": true, "AfterFunc": true}
	ast.Inspect(f, func(n ast.Node) bool {
		sel, ok := n.(*ast.SelectorExpr)
		if !ok {
			return true
		}
		if id, ok := sel.X.(*ast.Ident); ok && id.Name == "time" && id.Obj == nil && clock[sel.Sel.Name] {
			t.Errorf("%s:%d: a pure package may not read the clock (time.%s)", rel, fset.Position(sel.Pos()).Line, sel.Sel.Name)
		}
		return true
	})
}

func TestEveryRoomExists(t *testing.T) {
	for name := range Of {
		if name == "cmd" {
			continue
		}
		if _, err := os.Stat(filepath.Join("..", name)); err != nil {
			t.Errorf("floor.Of names %q, which is not there", name)
		}
	}
}

// The page for those who carry on names every room on its floor, once, and no
// room that is not there.
func TestPageNamesEveryRoom(t *testing.T) {
	page, err := os.ReadFile(filepath.Join("..", "..", "docs", "architecture.md"))
	if err != nil {
		t.Fatal(err)
	}
	named := map[string]bool{}
	for line := range strings.Lines(string(page)) {
		cells := strings.Split(line, "|")
		if len(cells) != 6 || !strings.Contains(cells[2], "`") {
			continue
		}
		name := strings.Trim(strings.TrimSpace(cells[2]), "`")
		floor, err := strconv.Atoi(strings.TrimSpace(cells[1]))
		if at, ok := Of[name]; !ok || err != nil || at != floor {
			t.Errorf("the page has %q on floor %s; floor.Of says %d (%v)", name, cells[1], at, ok)
		}
		if named[name] {
			t.Errorf("the page names %q twice", name)
		}
		named[name] = true
	}
	for name := range Of {
		if !named[name] {
			t.Errorf("the page does not name %q", name)
		}
	}
}
