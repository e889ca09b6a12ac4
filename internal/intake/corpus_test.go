package intake

import (
	"bytes"
	"errors"
	"flag"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"sort"
	"strings"
	"testing"

	"cornerwright/internal/recording"
)

var update = flag.Bool("update", false, "write testdata/corpus.golden anew; read the difference before committing it")

// corpusFiles lists the inputs of the corpus. Next to "x.csv" may stand
// "x.csv.toml", its column map; a CAN log takes the database of its own name,
// else bus.dbc.
func corpusFiles(t testing.TB) []string {
	t.Helper()
	var out []string
	for _, dir := range []string{"text", "can", "nmea", "gpx", "parquet", "packed", "junk"} {
		files, err := os.ReadDir(filepath.Join("testdata", dir))
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range files {
			if ext := filepath.Ext(f.Name()); ext != ".toml" && ext != ".dbc" && ext != ".md" {
				out = append(out, dir+"/"+f.Name())
			}
		}
	}
	sort.Strings(out)
	return out
}

// corpusInput reads one input with the options it is to be read with.
func corpusInput(t testing.TB, name string) ([]byte, Options) {
	t.Helper()
	path := filepath.Join("testdata", filepath.FromSlash(name))
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	opt := Options{Workers: 1}
	if m, err := os.ReadFile(path + ".toml"); err == nil {
		if opt.Map, err = ParseColumnMap(name+".toml", m); err != nil {
			t.Fatal(err)
		}
	}
	if strings.HasPrefix(name, "can/") && !strings.Contains(name, "no-database") {
		own := strings.TrimSuffix(path, filepath.Ext(path)) + ".dbc"
		if opt.Database, err = os.ReadFile(own); err != nil {
			if opt.Database, err = os.ReadFile("testdata/can/bus.dbc"); err != nil {
				t.Fatal(err)
			}
		}
	}
	return data, opt
}

// The corpus: each small file under testdata reads to the channels and the
// problems (severity, line, column, text, mend) that corpus.golden states. Each
// entry there was held against its file by eye: it says what is right, not what
// the program happened to do.
func TestCorpus(t *testing.T) {
	files := corpusFiles(t)
	if len(files) < 60 {
		t.Fatalf("%d files in the corpus, at least 60 are due", len(files))
	}
	var all strings.Builder
	for _, name := range files {
		data, opt := corpusInput(t, name)
		res, err := Read(name, data, opt)
		all.WriteString("== " + name + "\n" + describe(res, err) + "\n")
	}
	const golden = "testdata/corpus.golden"
	if *update {
		if err := os.WriteFile(golden, []byte(all.String()), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	want, err := os.ReadFile(golden)
	if err != nil {
		t.Fatal(err)
	}
	compareParts(t, parts(all.String()), parts(string(want)))
}

func parts(s string) map[string]string {
	out := map[string]string{}
	for _, p := range strings.Split(s, "== ")[1:] {
		name, body, _ := strings.Cut(p, "\n")
		out[name] = strings.TrimSpace(body)
	}
	return out
}

func compareParts(t *testing.T, got, want map[string]string) {
	t.Helper()
	for name, w := range want {
		if g, ok := got[name]; !ok {
			t.Errorf("%s: no longer in the corpus", name)
		} else if g != w {
			t.Errorf("%s:\ngot\n%s\nwant\n%s", name, g, w)
		}
	}
	for name := range got {
		if _, ok := want[name]; !ok {
			t.Errorf("%s: new in the corpus, not in the golden file", name)
		}
	}
}

// describe prints what a read gave: numbers in the units people read.
func describe(res *Result, err error) string {
	var b strings.Builder
	if err != nil {
		var e *Error
		if !errors.As(err, &e) {
			return "AN ERROR OF ANOTHER TYPE: " + err.Error() + "\n"
		}
		fmt.Fprintf(&b, "error %d:%d %s\n", e.Line, e.Column, e.Text)
		if e.Source != "" {
			fmt.Fprintf(&b, "  > %s\n", e.Source)
		}
		fmt.Fprintf(&b, "  mend: %s\n", e.Mend)
		return b.String()
	}
	lost := ""
	if res.LostRows > 0 || res.LostBytes > 0 {
		lost = fmt.Sprintf(", lost %d rows and %d bytes", res.LostRows, res.LostBytes)
	}
	fmt.Fprintf(&b, "%s, %d rows%s\n", res.Format, res.Rows, lost)
	for _, rec := range res.Recordings {
		if len(res.Recordings) > 1 {
			fmt.Fprintf(&b, "recording %s, %d rows\n", rec.Name, rec.Rows)
		}
		if !rec.Epoch.IsZero() {
			fmt.Fprintf(&b, "epoch %s\n", rec.Epoch.Format("2006-01-02T15:04:05.999999999Z07:00"))
		}
		for i, c := range rec.Channels {
			if i == 15 {
				fmt.Fprintf(&b, "  and %d channels more\n", len(rec.Channels)-15)
				break
			}
			b.WriteString(describeChannel(c))
		}
		for _, m := range rec.Clock {
			fmt.Fprintf(&b, "clock mark %s %s to %s: %s\n", m.Kind, num(m.From), num(m.To), m.Text)
		}
	}
	for _, p := range res.Problems {
		ch := ""
		if p.Channel != "" {
			ch = " [" + p.Channel + "]"
		}
		fmt.Fprintf(&b, "%s %d:%d%s %s\n  mend: %s\n", p.Severity, p.Line, p.Column, ch, p.Text, p.Mend)
	}
	return b.String()
}

func describeChannel(c *recording.Channel) string {
	var b strings.Builder
	own := ""
	if !c.Known {
		own = " (own)"
	}
	u := c.Display()
	fmt.Fprintf(&b, "  %s%s from %q in %q, %d samples:", c.Name, own, c.From, c.SourceUnit, len(c.Value))
	for i := range c.Value {
		if i == 3 && len(c.Value) > 5 {
			b.WriteString(" ...")
		}
		if i < 3 || len(c.Value) <= 5 || i == len(c.Value)-1 {
			// Ten digits: more than any cell below has, fewer than a conversion there
			// and back may touch.
			fmt.Fprintf(&b, " %s@%s", trimNum(u.FromSI(c.Value[i])), trimNum(c.Time[i]))
		}
	}
	fmt.Fprintf(&b, " %s\n", u.Symbol)
	for i, m := range c.Marks {
		if i == 4 {
			fmt.Fprintf(&b, "    and %d marks more\n", len(c.Marks)-4)
			break
		}
		fmt.Fprintf(&b, "    mark %s %s to %s: %s\n", m.Kind, num(m.From), num(m.To), m.Text)
	}
	return b.String()
}

func trimNum(x float64) string {
	r := math.Round(x*1e7) / 1e7
	return fmt.Sprintf("%.10g", r+0)
}

// Whatever the corpus holds reads the same packed, in other pieces and on more
// workers; and cut anywhere it ends in a result or an error with a mend.
func TestCorpusPackedAndCut(t *testing.T) {
	for _, name := range corpusFiles(t) {
		data, opt := corpusInput(t, name)
		res, err := Read(name, data, opt)
		want := describe(res, err)
		opt.Workers = 3
		res, err = Read(name, data, opt)
		if got := describe(res, err); got != want {
			t.Errorf("%s reads differently on three workers:\n%s\nwant\n%s", name, got, want)
		}
		if dir, _, _ := strings.Cut(name, "/"); dir == "text" || dir == "can" || dir == "nmea" || dir == "gpx" || dir == "parquet" {
			res, err = Read(name, gzipped(t, data), opt)
			if got := describe(res, err); got != want {
				t.Errorf("%s reads differently in gzip:\n%s\nwant\n%s", name, got, want)
			}
		}
		cuts := 16
		if strings.HasPrefix(name, "packed/bomb") || name == "text/wide.csv" || testing.Short() {
			cuts = 4
		}
		step := 1 + len(data)/cuts
		for n := 0; n < len(data); n += step {
			res, err := Read(name, data[:n:n], opt)
			var e *Error
			if err != nil && (!errors.As(err, &e) || e.Text == "" || e.Mend == "") {
				t.Errorf("%s cut after %d bytes: error without words or mend: %v", name, n, err)
			}
			if err == nil && len(res.Recordings) == 0 {
				t.Errorf("%s cut after %d bytes: neither a recording nor an error", name, n)
			}
		}
		if !bytes.Equal(data, mustRead(t, name)) {
			t.Errorf("%s: reading changed the caller's bytes", name)
		}
	}
}

func mustRead(t *testing.T, name string) []byte {
	b, err := os.ReadFile(filepath.Join("testdata", filepath.FromSlash(name)))
	if err != nil {
		t.Fatal(err)
	}
	return b
}
