// Tally reads the stream of `go test -json` on standard input, shows a line a
// package and the whole output of what failed, and adds the counts of tests to
// a file, so that several runs end in one sum.
//
//	go test -json ./... | go run ./.ci/tally -sum FILE
//	go run ./.ci/tally -sum FILE -close
//
// Subtests are not counted apart from the test they belong to. Exit code 1: a
// test or a package failed.
package main

import (
	"bufio"
	"encoding/json"
	"flag"
	"fmt"
	"os"
	"sort"
	"strings"
)

type event struct {
	Action, Package, Test, Output string
	Elapsed                       float64
}

func main() {
	sum := flag.String("sum", "", "file that holds the running sum")
	closing := flag.Bool("close", false, "print the closing line and leave")
	flag.Parse()
	passed, failed, skipped := read(*sum)
	if *closing {
		fmt.Printf("%d passed, %d failed, %d skipped\n", passed, failed, skipped)
		if failed > 0 || passed == 0 {
			os.Exit(1)
		}
		return
	}
	output := map[string][]string{}
	var skips []string
	broken := false
	in := bufio.NewScanner(os.Stdin)
	in.Buffer(make([]byte, 1<<20), 1<<26)
	for in.Scan() {
		var e event
		if err := json.Unmarshal(in.Bytes(), &e); err != nil {
			fmt.Println(in.Text()) // a build error is no event
			continue
		}
		key := e.Package + " " + e.Test
		switch e.Action {
		case "output", "build-output":
			output[key] = append(output[key], e.Output)
			continue
		case "build-fail":
			broken = true
			continue
		case "pass", "fail", "skip":
		default:
			continue
		}
		if e.Test == "" {
			closePackage(e, output[key])
			broken = broken || e.Action == "fail"
			continue
		}
		if e.Action == "fail" {
			fmt.Print(strings.Join(output[key], ""))
		}
		delete(output, key)
		if strings.Contains(e.Test, "/") {
			if e.Action == "skip" {
				skips = append(skips, key)
			}
			continue
		}
		switch e.Action {
		case "pass":
			passed++
		case "fail":
			failed++
		case "skip":
			skipped++
			skips = append(skips, key)
		}
	}
	sort.Strings(skips)
	for _, s := range skips {
		fmt.Println("skipped:", s)
	}
	if broken && failed == 0 {
		failed++ // a package that does not build, or dies outside a test
		for key, lines := range output {
			if strings.HasSuffix(key, " ") {
				fmt.Print(strings.Join(lines, ""))
			}
		}
	}
	if err := os.WriteFile(*sum, fmt.Appendf(nil, "%d %d %d\n", passed, failed, skipped), 0o644); err != nil {
		fmt.Fprintln(os.Stderr, "tally:", err)
		os.Exit(1)
	}
	if failed > 0 || broken {
		os.Exit(1)
	}
}

// closePackage prints the line that ends a package.
func closePackage(e event, lines []string) {
	switch e.Action {
	case "pass":
		fmt.Printf("ok    %-40s %6.1f s\n", e.Package, e.Elapsed)
	case "fail":
		fmt.Printf("FAIL  %-40s %6.1f s\n%s", e.Package, e.Elapsed, strings.Join(lines, ""))
	}
}

func read(name string) (passed, failed, skipped int) {
	b, err := os.ReadFile(name)
	if err != nil {
		return 0, 0, 0
	}
	fmt.Sscan(string(b), &passed, &failed, &skipped)
	return
}
