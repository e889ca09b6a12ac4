package book

// Events lists what changed after an event number, oldest first, at most 1000.
func (b *Book) Events(after int64) ([]Event, error) {
	var out []Event
	err := each(b.r, func(s scanner) error {
		var e Event
		var at int64
		if err := s.Scan(&e.Seq, &at, &e.Kind, &e.Run, &e.Step, &e.Ref, &e.Who); err != nil {
			return err
		}
		e.At = instant(at)
		out = append(out, e)
		return nil
	}, `SELECT seq, at, kind, run, step, ref, who FROM event WHERE seq > ? ORDER BY seq LIMIT 1000`, after)
	return out, b.ioError(err)
}

// LastEvent is the number of the newest event, 0 in a new book.
func (b *Book) LastEvent() (int64, error) {
	var n int64
	err := b.r.QueryRow(`SELECT coalesce(max(seq), 0) FROM event`).Scan(&n)
	return n, b.ioError(err)
}

// Subscribe tells of changes as they are made. The channel carries the newest
// event number and never blocks the book: a slow reader misses numbers, not
// events, as it asks Events for all after the last it has seen. The channel is
// closed when the book closes; stop ends it before.
func (b *Book) Subscribe() (news <-chan int64, stop func()) {
	c := make(chan int64, 1)
	b.news.Lock()
	b.news.subs[c] = true
	b.news.Unlock()
	return c, func() {
		b.news.Lock()
		if b.news.subs[c] {
			delete(b.news.subs, c)
			close(c)
		}
		b.news.Unlock()
	}
}

func (b *Book) tell(seq int64) {
	b.news.Lock()
	defer b.news.Unlock()
	b.news.last = seq
	for c := range b.news.subs {
		select {
		case <-c: // an older number nobody took
		default:
		}
		c <- seq // room for one, and only this goroutine sends: never blocks
	}
}
