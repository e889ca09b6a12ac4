package book

import (
	"fmt"
	"io/fs"
	"math/rand/v2"
	"os"
	"path/filepath"
	"runtime"
	"runtime/debug"
	"testing"
)

// Mutated recordings of every kind that intake reads go through the book's own
// door: 10,000 with CORNERWRIGHT_FULL=1, else one of every fourth. Whatever they hold,
// adding ends with a run or a plain error of the input, memory stays bounded,
// the book stays whole, and every original is kept.
func TestMutatedInputs(t *testing.T) {
	each, every := 0, 4
	if raceOn {
		every = 16
	}
	type seed struct {
		name string
		data []byte
	}
	var seeds []seed
	root := filepath.Join("..", "intake", "testdata")
	if err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		switch filepath.Ext(path) {
		case ".go", ".md", ".golden", ".toml", ".json":
			return nil
		}
		data, err := os.ReadFile(path)
		// What is mutated is small, so that many can be: the heads and the joints
		// are where a reader breaks.
		if err == nil && len(data) > 0 && len(data) <= 1<<20 {
			seeds = append(seeds, seed{d.Name(), data})
		}
		return err
	}); err != nil {
		t.Fatal(err)
	}
	if len(seeds) < 5 {
		t.Fatalf("only %d recordings to mutate in %s", len(seeds), root)
	}
	if full() {
		each = 10000/len(seeds) + 1
	}
	b := newTestBook(t, 0)
	rng := rand.New(rand.NewPCG(4, 10))
	const bound = 1 << 30
	defer debug.SetMemoryLimit(debug.SetMemoryLimit(bound))
	runs, refused, peak := 0, 0, uint64(0)
	for i, s := range seeds {
		n := each
		if n == 0 && i%every == 0 {
			n = 1
		}
		for k := range n {
			data := mutate(rng, s.data, seeds[rng.IntN(len(seeds))].data)
			res, err := b.Add(bg, AddRequest{Name: s.name, Data: data})
			switch {
			case err == nil:
				runs += len(res.Runs)
			case Exit(err) == 1:
				refused++
			default:
				t.Errorf("%s, mutation %d: exit code %d: %v", s.name, k, Exit(err), err)
			}
			if ok, err := exists(b.fs, b.originalPath(res.Original)); !ok {
				t.Errorf("%s, mutation %d: the original was not kept: %v", s.name, k, err)
			}
			var m runtime.MemStats
			runtime.ReadMemStats(&m)
			peak = max(peak, m.HeapInuse)
			if m.HeapInuse > bound {
				t.Fatalf("%s, mutation %d: %d MB in use", s.name, k, m.HeapInuse>>20)
			}
		}
	}
	t.Logf("%d mutated inputs of %d recordings: %d runs, %d refused, %d MB of heap at most", runs+refused, len(seeds), runs, refused, peak>>20)
	rep := must[VerifyReport](t)(b.Verify(bg, VerifyOptions{}))
	if len(rep.Faults)+len(rep.Notes) > 0 {
		t.Errorf("afterwards: %v %v", rep.Faults, rep.Notes)
	}
}

// mutate does to bytes what sticks, cables and careless editors do.
func mutate(rng *rand.Rand, data, other []byte) []byte {
	out := append([]byte(nil), data...)
	for range 1 + rng.IntN(4) {
		if len(out) == 0 {
			break
		}
		at := rng.IntN(len(out))
		n := min(len(out)-at, 1+rng.IntN(64))
		switch rng.IntN(8) {
		case 0: // a bit turns over
			out[at] ^= 1 << rng.IntN(8)
		case 1: // a few bytes of anything
			for i := range n {
				out[at+i] = byte(rng.UintN(256))
			}
		case 2: // cut off
			out = out[:at]
		case 3: // a piece is missing
			out = append(out[:at], out[at+n:]...)
		case 4: // a piece twice
			out = append(out[:at+n], out[at:]...)
		case 5: // a piece of another file
			if len(other) > 0 {
				from := rng.IntN(len(other))
				out = append(append(append([]byte(nil), out[:at]...), other[from:min(len(other), from+4096)]...), out[at:]...)
			}
		case 6: // zeros, as an unwritten block
			clear(out[at : at+n])
		default: // numbers that are none, or huge
			word := []string{"NaN", "1e308", "-", ",,,,", "\x00", "999999999999999999999", "\r", fmt.Sprint(rng.Uint64())}[rng.IntN(8)]
			out = append(append(append([]byte(nil), out[:at]...), word...), out[at:]...)
		}
	}
	return out
}
