package table

import (
	"bytes"
	"errors"
	"io"
	"runtime"
	"sync"
)

// BlockSize is how much text one block takes, about.
const BlockSize = 1 << 20

// maxLine bounds one record; a longer one (a binary block without line ends) is
// cut and reported as unreadable.
const maxLine = 16 << 20

// ErrStop may be returned by a sink to end the scan without error.
var ErrStop = errors.New("stop")

// Scan reads the data rows of the text (r stands at the text's start, decoded)
// and hands Blocks in order to sink, which must not keep them: their buffers
// are used again. Parsing runs on up to workers goroutines (0: as many as there
// are processors, at most 4); memory is bounded by a few blocks. It returns
// whether the last row lacked its line end and the error of reading, after all
// that could be read was handed on.
func Scan(r io.Reader, d *Dialect, workers int, sink func(*Block) error) error {
	return ScanWith(r, d, workers, nil, sink)
}

// ScanWith is Scan with more to do to each block on the goroutine that parsed
// it, before sink has it: work may run for several blocks at once and in any
// order, but that of Block.Seq 0 is begun first.
func ScanWith(r io.Reader, d *Dialect, workers int, work func(*Block), sink func(*Block) error) error {
	if workers <= 0 {
		workers = min(4, runtime.GOMAXPROCS(0))
	}
	type job struct {
		text []byte
		line int
		open bool
		blk  *Block
		done chan struct{}
	}
	c := &chunker{r: r, d: d, line: 1}
	if err := c.skip(d.Offset, d.DataLine); err != nil {
		return err
	}
	depth := workers + 1
	jobs := make(chan *job)
	order := make(chan *job, depth)
	free := make(chan *job, depth+1)
	for range depth + 1 {
		free <- &job{blk: &Block{}, done: make(chan struct{}, 1)}
	}
	quit := make(chan struct{})
	var readErr error
	var wg sync.WaitGroup
	for range workers {
		wg.Add(1)
		go func() {
			defer wg.Done()
			p := newParser(d)
			for j := range jobs {
				p.open = j.open
				p.parse(j.text, j.blk, j.line, 0)
				if work != nil {
					work(j.blk)
				}
				j.done <- struct{}{}
			}
		}()
	}
	go func() {
		defer close(order)
		defer close(jobs)
		seq := 0
		for {
			var j *job
			select {
			case j = <-free:
			case <-quit:
				return
			}
			line := c.line
			text, err := c.next(j.text)
			j.text, j.open = text, c.open
			if len(text) > 0 {
				j.line = line
				j.blk.Seq = seq
				seq++
				select {
				case order <- j:
				case <-quit:
					return
				}
				select {
				case jobs <- j:
				case <-quit:
					return
				}
			}
			if err != nil {
				if err != io.EOF {
					readErr = err
				}
				return
			}
		}
	}()
	var sinkErr error
	row := 0
	for j := range order {
		if sinkErr == nil {
			<-j.done
			j.blk.row = row
			row += j.blk.Rows
			if sinkErr = sink(j.blk); sinkErr != nil {
				close(quit)
				continue
			}
			free <- j
		}
	}
	wg.Wait()
	if sinkErr != nil {
		if errors.Is(sinkErr, ErrStop) {
			return nil
		}
		return sinkErr
	}
	return readErr
}

// chunker cuts a text in pieces of whole records.
type chunker struct {
	r    io.Reader
	d    *Dialect
	rest []byte // start of the next piece
	line int    // number of its first line
	eof  bool
	open bool // the text ended without a line end
	err  error
}

// skip passes over n bytes of text; the next line is then line.
func (c *chunker) skip(n, line int) error {
	_, err := io.CopyN(io.Discard, c.r, int64(n))
	c.line = line
	if err == io.EOF {
		return nil
	}
	return err
}

// next fills buf with whole records and returns it; the last line always ends
// in '\n'. io.EOF comes with the last piece or after it.
func (c *chunker) next(buf []byte) ([]byte, error) {
	want := BlockSize
	for {
		if cap(buf) < want+1 {
			grown := make([]byte, 0, want+1)
			buf = append(grown, buf...)
		}
		buf = append(buf[:0], c.rest...)
		n := len(buf)
		m := 0
		if !c.eof {
			m, c.err = io.ReadFull(c.r, buf[n:want])
			if c.d.LineEnd == '\r' {
				swapCR(buf[n : n+m])
			}
			c.eof = c.err != nil
		}
		buf = buf[:n+m]
		if c.eof {
			c.rest = c.rest[:0]
			if len(buf) > 0 && buf[len(buf)-1] != '\n' {
				c.open = true
				buf = append(buf, '\n')
			}
			c.line += bytes.Count(buf, []byte{'\n'})
			if c.err == io.ErrUnexpectedEOF || c.err == nil {
				c.err = io.EOF
			}
			return buf, c.err
		}
		cut := c.cut(buf)
		if cut <= 0 && len(buf) < maxLine {
			// One record longer than the piece: take more.
			c.rest = append(c.rest[:0], buf...)
			want *= 2
			continue
		}
		if cut <= 0 {
			c.rest = c.rest[:0]
			buf = append(buf, '\n')
			c.line--
			return c.piece(buf, len(buf)), nil
		}
		c.rest = append(c.rest[:0], buf[cut:]...)
		return c.piece(buf, cut), nil
	}
}

func (c *chunker) piece(buf []byte, cut int) []byte {
	buf = buf[:cut]
	c.line += bytes.Count(buf, []byte{'\n'})
	return buf
}

// cut returns the end of the last whole record in buf.
func (c *chunker) cut(buf []byte) int {
	if bytes.IndexByte(buf, '"') < 0 {
		return bytes.LastIndexByte(buf, '\n') + 1
	}
	end := 0
	for {
		e, _ := recordEnd(buf, end)
		if e < 0 {
			return end
		}
		end = e + 1
	}
}

func swapCR(b []byte) {
	for i, x := range b {
		if x == '\r' {
			b[i] = '\n'
		}
	}
}
