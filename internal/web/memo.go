package web

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"sync/atomic"

	"cornerwright/internal/book"
	"cornerwright/internal/debrief"
	"cornerwright/internal/rehearsal"
	"cornerwright/internal/say"
	"cornerwright/internal/verdict"
)

// memo keeps answers that are asked for again and again while nothing in the
// book changes: many phones read one debrief. Whatever changes an answer makes
// an event in the book, so an answer is good while the newest event is the same.
type memo struct {
	maps   sync.Map // of phones: they change with the circuit alone
	mapped atomic.Int64

	mu   sync.Mutex
	seq  int64
	kept map[string]*answer
}

type answer struct {
	done  chan struct{}
	value any
	err   error
}

// maxKept answers and maxMaps maps; beyond that all are made anew.
const (
	maxKept = 256
	maxMaps = 200
)

// recall returns the kept answer, or makes it once for all who ask meanwhile.
// The answer is shared: read only.
func recall[T any](ctx context.Context, s *server, key string, fill func(context.Context) (T, error)) (T, error) {
	var none T
	seq, err := s.book.LastEvent()
	if err != nil {
		return none, err
	}
	for {
		s.memo.mu.Lock()
		seq = max(seq, s.memo.seq)
		if s.memo.seq != seq || len(s.memo.kept) >= maxKept || s.memo.kept == nil {
			s.memo.seq, s.memo.kept = seq, map[string]*answer{}
		}
		a, ok := s.memo.kept[key]
		if !ok {
			a = &answer{done: make(chan struct{})}
			s.memo.kept[key] = a
		}
		s.memo.mu.Unlock()
		if !ok {
			a.err = errors.New("the answer was not made") // unless it is, below: a panic must not leave others waiting
			defer func() {
				if a.err != nil {
					s.memo.mu.Lock()
					if s.memo.kept[key] == a {
						delete(s.memo.kept, key)
					}
					s.memo.mu.Unlock()
				}
				close(a.done)
			}()
			var v T
			v, a.err = fill(ctx)
			a.value = v
			return v, a.err
		}
		select {
		case <-a.done:
		case <-ctx.Done():
			return none, ctx.Err()
		}
		if a.err == nil {
			return a.value.(T), nil
		}
		// Whoever made it failed, perhaps only because they left: make it oneself.
		if err := ctx.Err(); err != nil {
			return none, err
		}
	}
}

// debriefOf is a run's debrief, made once while the book stands still.
func (s *server) debriefOf(ctx context.Context, run int, o debrief.Options) (*debrief.Result, error) {
	return recall(ctx, s, fmt.Sprintf("debrief %d %+v", run, o), func(ctx context.Context) (*debrief.Result, error) { return s.book.Debrief(ctx, run, o) })
}

// verdictOf is a step's verdict, made once while the book stands still.
func (s *server) verdictOf(ctx context.Context, step int) (*verdict.Verdict, error) {
	return recall(ctx, s, fmt.Sprintf("verdict %d", step), func(ctx context.Context) (*verdict.Verdict, error) {
		return s.book.Verdict(ctx, book.VerdictRequest{Step: step})
	})
}

// rehearsalOf is a step laid on a run, made once while the book stands still.
func (s *server) rehearsalOf(ctx context.Context, step, run int) (*rehearsal.Rehearsal, error) {
	return recall(ctx, s, fmt.Sprintf("rehearsal %d %d", step, run), func(ctx context.Context) (*rehearsal.Rehearsal, error) {
		return s.book.Rehearse(ctx, step, run)
	})
}

// recordOf tells how rehearsals of a setting have fared against verdicts.
func (s *server) recordOf(ctx context.Context, setting string) (say.Text, error) {
	return recall(ctx, s, "record "+setting, func(ctx context.Context) (say.Text, error) {
		x, err := s.book.RehearsalRecord(ctx, setting)
		if err != nil || x.N == 0 {
			return "", err
		}
		return x.Sentence(), nil
	})
}
