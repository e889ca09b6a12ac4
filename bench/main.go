// Command bench runs this program's text reader and DuckDB's read_csv on the
// same file, turn about, in one process, and prints a table of the times: text
// to columns in memory, and text to Parquet. It is a module of its own because
// DuckDB needs cgo, which the program itself does without.
//
//	cd bench && go run . [-minutes 60] [-rounds 7] [-threads 2]
//
// Before it measures it compares: every value of the Parquet file written here
// against what DuckDB reads from the text.
package main

import (
	"bufio"
	"bytes"
	"context"
	"database/sql"
	"flag"
	"fmt"
	"io"
	"log"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"time"

	_ "github.com/duckdb/duckdb-go/v2"

	"cornerwright/internal/intake"
	"cornerwright/internal/intake/table"
	"cornerwright/internal/proving"
)

func main() {
	log.SetFlags(0)
	minutes := flag.Int("minutes", 60, "length of the table at 100 rows a second")
	rounds := flag.Int("rounds", 7, "rounds; every reader runs once in each")
	threads := flag.Int("threads", 2, "threads of every reader")
	only := flag.String("only", "", "internal: do one import `FILE` and say its peak memory")
	flag.Parse()
	runtime.GOMAXPROCS(*threads)
	if *only != "" {
		single(*only, *threads)
		return
	}
	dir, err := os.MkdirTemp("", "bench")
	if err != nil {
		log.Fatal(err)
	}
	err = run(dir, *minutes, *rounds, *threads)
	os.RemoveAll(dir)
	if err != nil {
		log.Fatal(err)
	}
}

// contestant is one way of doing a job; times in s.
type contestant struct {
	name  string
	do    func() error
	times []float64
}

func run(dir string, minutes, rounds, threads int) error {
	text := filepath.Join(dir, "table.csv")
	f, err := os.Create(text)
	if err != nil {
		return err
	}
	rows := minutes * 6000
	if err := proving.Table(f, rows, proving.TableColumns); err != nil {
		return err
	}
	if err := f.Close(); err != nil {
		return err
	}
	db, err := sql.Open("duckdb", "")
	if err != nil {
		return err
	}
	defer db.Close()
	db.SetMaxOpenConns(1)
	var version string
	if err := db.QueryRow(`SELECT version()`).Scan(&version); err != nil {
		return err
	}
	do := func(q string) error { _, err := db.ExecContext(context.Background(), q); return err }
	if err := do(fmt.Sprintf(`SET threads = %d`, threads)); err != nil {
		return err
	}
	typed, sums, err := statedTypes(text)
	if err != nil {
		return err
	}
	parquet := filepath.Join(dir, "own.parquet")
	other := filepath.Join(dir, "other.parquet")
	if err := importTo(text, parquet, threads); err != nil {
		return err
	}
	if err := compare(db, typed, parquet, rows); err != nil {
		return err
	}
	memory := []*contestant{
		{name: "cornerwright, text to float64 columns", do: func() error { return columns(text, threads, rows) }},
		{name: "DuckDB read_csv, types stated, to a table in memory", do: func() error { return do(`CREATE OR REPLACE TEMP TABLE t AS SELECT * FROM ` + typed) }},
		{name: "DuckDB read_csv, types stated, sum of each column, no table", do: func() error {
			var n float64
			return db.QueryRow(`SELECT ` + sums + ` FROM ` + typed).Scan(&n)
		}},
		{name: "DuckDB read_csv, types found, to a table in memory", do: func() error { return do(`CREATE OR REPLACE TEMP TABLE t AS SELECT * FROM read_csv('` + text + `')`) }},
	}
	disk := []*contestant{
		{name: "cornerwright, text to Parquet", do: func() error { return importTo(text, parquet, threads) }},
		{name: "DuckDB COPY to Parquet, snappy, types stated", do: func() error {
			return do(`COPY (SELECT * FROM ` + typed + `) TO '` + other + `' (FORMAT parquet, COMPRESSION snappy)`)
		}},
		{name: "DuckDB COPY to Parquet, zstd, types stated", do: func() error {
			return do(`COPY (SELECT * FROM ` + typed + `) TO '` + other + `' (FORMAT parquet, COMPRESSION zstd)`)
		}},
	}
	for round := range rounds + 1 {
		for _, c := range append(append([]*contestant{}, memory...), disk...) {
			start := time.Now()
			if err := c.do(); err != nil {
				return fmt.Errorf("%s: %w", c.name, err)
			}
			if round > 0 { // the first warms
				c.times = append(c.times, time.Since(start).Seconds())
			}
		}
	}
	size, stored, theirs := sizeOf(text), sizeOf(parquet), sizeOf(other)
	fmt.Printf("%d rows x %d columns, %.1f MB of text, %d threads, DuckDB %s, %d rounds; values compared: none differs\n\n", rows, proving.TableColumns, float64(size)/1e6, threads, version, rounds)
	for _, group := range [][]*contestant{memory, disk} {
		fmt.Println("| job | best ms | median ms | MB/s | ns a value | best, times ours | median, times ours |")
		fmt.Println("|---|---|---|---|---|---|---|")
		for _, c := range group {
			lo, mid := stats(c.times)
			ownLo, ownMid := stats(group[0].times)
			fmt.Printf("| %s | %.0f | %.0f | %.0f | %.1f | %.1f | %.1f |\n", c.name, lo*1e3, mid*1e3, float64(size)/1e6/lo, lo*1e9/float64(rows*proving.TableColumns), lo/ownLo, mid/ownMid)
		}
		fmt.Println()
	}
	fmt.Printf("stored: ours %.1f %% of the text, DuckDB zstd %.1f %%\n", 100*float64(stored)/float64(size), 100*float64(theirs)/float64(size))
	return peak(text, threads)
}

// columns reads a text to float64 columns in memory.
func columns(path string, threads, rows int) error {
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	defer f.Close()
	head := make([]byte, table.HeadSize)
	n, _ := io.ReadFull(f, head)
	d, err := table.Sniff(head[:n], n < len(head), table.Overrides{})
	if err != nil {
		return err
	}
	if _, err := f.Seek(0, io.SeekStart); err != nil {
		return err
	}
	size := float64(sizeOf(path))
	cols := make([][]float64, len(d.Columns))
	err = table.Scan(f, d, threads, func(b *table.Block) error {
		if b.Seq == 0 {
			room := int(size/float64(b.Bytes)*float64(b.Rows)*1.02) + 64
			for i := range cols {
				cols[i] = make([]float64, 0, room)
			}
		}
		for i := range b.Cols {
			cols[i] = b.Cols[i].Values(cols[i])
		}
		return nil
	})
	if err == nil && len(cols[0]) != rows {
		return fmt.Errorf("%d rows were read of %d", len(cols[0]), rows)
	}
	runtime.KeepAlive(cols)
	return err
}

// importTo is text to Parquet as this program does it.
func importTo(text, parquet string, threads int) error {
	in, err := os.Open(text)
	if err != nil {
		return err
	}
	defer in.Close()
	out, err := os.Create(parquet)
	if err != nil {
		return err
	}
	defer out.Close()
	create := func() (io.Writer, error) {
		if _, err := out.Seek(0, io.SeekStart); err != nil {
			return nil, err
		}
		return out, out.Truncate(0)
	}
	if _, err := intake.Import(text, in, sizeOf(text), create, intake.Options{Workers: threads}); err != nil {
		return err
	}
	return out.Close()
}

// statedTypes is a read_csv with every column a DOUBLE, and the sum over all.
func statedTypes(text string) (from, sums string, err error) {
	f, err := os.Open(text)
	if err != nil {
		return "", "", err
	}
	defer f.Close()
	line, err := bufio.NewReader(f).ReadString('\n')
	if err != nil {
		return "", "", err
	}
	var types, sum []string
	for _, h := range strings.Split(strings.TrimSpace(line), ",") {
		types = append(types, "'"+h+"': 'DOUBLE'")
		sum = append(sum, `sum("`+h+`")`)
	}
	return "read_csv('" + text + "', header = true, delim = ',', auto_detect = false, columns = {" + strings.Join(types, ", ") + "})", strings.Join(sum, "+"), nil
}

// compare has DuckDB read the text and our Parquet file, and counts rows of
// which any value differs.
func compare(db *sql.DB, typed, parquet string, rows int) error {
	r, err := db.Query(`SELECT * FROM '` + parquet + `' LIMIT 0`)
	if err != nil {
		return err
	}
	ours, err := r.Columns()
	r.Close()
	if err != nil {
		return err
	}
	r, err = db.Query(`SELECT * FROM ` + typed + ` LIMIT 0`)
	if err != nil {
		return err
	}
	theirs, err := r.Columns()
	r.Close()
	if err != nil {
		return err
	}
	var differ []string
	for i := range ours {
		differ = append(differ, fmt.Sprintf(`CAST(a."%s" AS DOUBLE) IS DISTINCT FROM b."%s"`, ours[i], theirs[i]))
	}
	var n, all int
	q := fmt.Sprintf(`SELECT count(*), count(*) FILTER (WHERE %s) FROM '%s' a POSITIONAL JOIN (SELECT * FROM %s) b`, strings.Join(differ, " OR "), parquet, typed)
	if err := db.QueryRow(q).Scan(&all, &n); err != nil {
		return err
	}
	if all != rows || n != 0 {
		return fmt.Errorf("%d of %d rows differ between our Parquet file and DuckDB's reading of the text", n, all)
	}
	return nil
}

// single imports once in a process of its own and says the peak of resident
// memory in kB, as Linux tells it.
func single(text string, threads int) {
	start := time.Now()
	out := text + ".single.parquet"
	if err := importTo(text, out, threads); err != nil {
		log.Fatal(err)
	}
	os.Remove(out)
	ms := time.Since(start).Seconds() * 1e3
	// Not getrusage: its peak includes that of the process before exec.
	status, err := os.ReadFile("/proc/self/status")
	if err != nil {
		log.Fatal(err)
	}
	_, after, _ := strings.Cut(string(status), "VmHWM:")
	fmt.Printf("%s %.0f\n", strings.Fields(after)[0], ms)
}

func peak(text string, threads int) error {
	cmd := exec.Command(os.Args[0], "-only", text, "-threads", fmt.Sprint(threads))
	var out bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, os.Stderr
	if err := cmd.Run(); err != nil {
		return err
	}
	var kb, ms int
	fmt.Sscan(out.String(), &kb, &ms)
	fmt.Printf("text to Parquet in a process of its own: %d ms, %.0f MB resident at its peak (this binary, DuckDB's library mapped and idle)\n", ms, float64(kb)/1024)
	return nil
}

func sizeOf(path string) int64 {
	info, err := os.Stat(path)
	if err != nil {
		return 0
	}
	return info.Size()
}

// stats are the least and the median of times.
func stats(t []float64) (lo, mid float64) {
	s := slices.Sorted(slices.Values(t))
	return s[0], s[len(s)/2]
}
