package book

import (
	"container/list"
	"context"
	"fmt"
	"math"
	"runtime"
	"sync"

	"cornerwright/internal/bike"
	"cornerwright/internal/circuit"
	"cornerwright/internal/intake"
	"cornerwright/internal/recording"
	"cornerwright/internal/rehearsal"
	"cornerwright/internal/ride"
	"cornerwright/internal/setting"
)

// method is the version of everything that a stored result rests on: its stored
// form (the 1), how a recording is read, and the analysis.
const method = (1+intake.ColumnsVersion)*1000 + ride.Method

// rideKey tells one analysis from another: the run and the version of its line.
type rideKey struct{ run, line int }

// rideCache keeps the rides used last. A ride of twenty minutes holds some
// thirty series of 120,000 samples: about 25 MB.
type rideCache struct {
	sync.Mutex
	size  int
	order list.List // of rideEntry, newest first
	busy  map[rideKey]chan struct{}
}

type rideEntry struct {
	key  rideKey
	ride *ride.Ride
}

func (c *rideCache) get(k rideKey) *ride.Ride {
	c.Lock()
	defer c.Unlock()
	for e := c.order.Front(); e != nil; e = e.Next() {
		if e.Value.(rideEntry).key == k {
			c.order.MoveToFront(e)
			return e.Value.(rideEntry).ride
		}
	}
	return nil
}

func (c *rideCache) put(k rideKey, r *ride.Ride) {
	if c.get(k) != nil {
		return
	}
	c.Lock()
	defer c.Unlock()
	c.order.PushFront(rideEntry{k, r})
	for c.order.Len() > c.size {
		c.order.Remove(c.order.Back())
	}
}

func (c *rideCache) drop(k rideKey) {
	c.Lock()
	defer c.Unlock()
	for e := c.order.Front(); e != nil; e = e.Next() {
		if e.Value.(rideEntry).key == k {
			c.order.Remove(e)
			return
		}
	}
}

func (c *rideCache) clear() {
	c.Lock()
	defer c.Unlock()
	c.order.Init()
}

// enter lets one goroutine compute a ride while others wait for it.
func (c *rideCache) enter(ctx context.Context, k rideKey) (first bool, err error) {
	c.Lock()
	if c.busy == nil {
		c.busy = map[rideKey]chan struct{}{}
	}
	wait, there := c.busy[k]
	if !there {
		c.busy[k] = make(chan struct{})
		c.Unlock()
		return true, nil
	}
	c.Unlock()
	select {
	case <-wait:
		return false, nil
	case <-ctx.Done():
		return false, ctx.Err()
	}
}

func (c *rideCache) leave(k rideKey) {
	c.Lock()
	defer c.Unlock()
	close(c.busy[k])
	delete(c.busy, k)
}

// Ride returns a run analysed: from memory, from its ride file, or computed.
// Read only: it is shared between callers.
func (b *Book) Ride(ctx context.Context, run int) (*ride.Ride, error) {
	r, err := b.Run(fmt.Sprint(run))
	if err != nil {
		return nil, err
	}
	c, err := b.Circuit(r.Circuit)
	if err != nil {
		return nil, err
	}
	key := rideKey{run, c.Version}
	for {
		if x := b.rides.get(key); x != nil {
			return x, nil
		}
		first, err := b.rides.enter(ctx, key)
		if err != nil {
			return nil, err
		}
		if first {
			x, err := b.readRide(r, c)
			if err != nil || !b.fresh(run, c.Version) {
				x, err = b.compute(ctx, r, c)
			}
			if err == nil {
				b.rides.put(key, x)
			}
			b.rides.leave(key)
			return x, err
		}
	}
}

// compute analyses a run and stores what the book keeps of it, where that is
// missing or of another method or line.
func (b *Book) compute(ctx context.Context, r Run, c *circuit.Circuit) (*ride.Ride, error) {
	rec, err := b.Recording(ctx, r.Number)
	if err != nil {
		return nil, err
	}
	k, err := b.bikeOf(r)
	if err != nil {
		return nil, err
	}
	x, err := ride.Analyse(rec, k, c, ride.Options{})
	if err != nil {
		return nil, fmt.Errorf("run %d: %w", r.Number, err)
	}
	if x.Circuit == nil {
		x.Circuit = c
	}
	x.Circuit.Version = c.Version
	settle(x)
	if b.readOnly {
		return x, nil
	}
	b.keepRide(r, c.Version, x)
	if b.fresh(r.Number, c.Version) {
		return x, nil
	}
	cells := visitsOf(x, k)
	return x, b.tx(func(t *tx) error { return t.saveResult(r.Number, x, cells) })
}

// fresh tells whether the stored result is of this method and line.
func (b *Book) fresh(run, line int) bool {
	var m, l int
	return b.r.QueryRow(`SELECT method, line FROM result WHERE run = ?`, run).Scan(&m, &l) == nil && m == method && l == line
}

// Summary is what the book keeps of a ride: everything but the series.
type Summary struct {
	Circuit  string
	Line     int // version
	Laps     []circuit.Lap
	Passes   []ride.Pass
	Episodes []ride.Episode
	Tyres    bike.Tyres
	Lean     bike.LeanReport
	Engine   ride.EngineBrake
	Cannot   []ride.Cannot
	Problems []recording.Problem
	Position string // its source in words
	// Where the run stands against the circuit; see circuit.Position.
	Latency, WheelScale float64
}

func summarise(x *ride.Ride) Summary {
	s := Summary{Laps: x.Laps, Passes: x.Passes, Episodes: x.Episodes, Tyres: x.Tyres, Lean: x.Lean, Engine: x.Engine, Cannot: x.Cannot, Problems: x.Problems}
	if x.Circuit != nil {
		s.Circuit, s.Line = x.Circuit.Name, x.Circuit.Version
	}
	if x.Position != nil {
		s.Position, s.Latency, s.WheelScale = x.Position.Source, x.Position.Latency, x.Position.WheelScale
	}
	return s
}

// Summary returns what the book keeps of a run's analysis, made anew first
// where the method or the circuit's line has changed.
func (b *Book) Summary(ctx context.Context, run int) (*Summary, error) {
	r, err := b.Run(fmt.Sprint(run))
	if err != nil {
		return nil, err
	}
	c, err := b.circuitRecord(r.Circuit)
	if err != nil {
		return nil, err
	}
	if b.fresh(run, c.Version) {
		var data []byte
		if err := b.r.QueryRow(`SELECT data FROM result WHERE run = ?`, run).Scan(&data); err != nil {
			return nil, b.ioError(err)
		}
		var s Summary
		if err := b.unpack(data, &s); err == nil {
			s.Circuit = c.Name // stored before it was renamed
			return &s, nil
		}
		// A stored result that cannot be read is computed anew like an old one.
	}
	x, err := b.Ride(ctx, run)
	if err != nil {
		return nil, err
	}
	s := summarise(x)
	return &s, nil
}

// Laps of a run, from the stored tables.
func (b *Book) Laps(ctx context.Context, run int) ([]circuit.Lap, error) {
	s, err := b.Summary(ctx, run)
	if err != nil {
		return nil, err
	}
	return s.Laps, nil
}

// Passes is the per-pass table of a run, from the stored tables.
func (b *Book) Passes(ctx context.Context, run int) ([]ride.Pass, error) {
	s, err := b.Summary(ctx, run)
	if err != nil {
		return nil, err
	}
	for i := range s.Passes {
		s.Passes[i].Run = run
	}
	return s.Passes, nil
}

// Episodes of a run, from the stored tables.
func (b *Book) Episodes(ctx context.Context, run int) ([]ride.Episode, error) {
	s, err := b.Summary(ctx, run)
	if err != nil {
		return nil, err
	}
	return s.Episodes, nil
}

// saveResult replaces what the book keeps of a ride; cells are those of visitsOf.
func (t *tx) saveResult(run int, x *ride.Ride, cells []chan rehearsal.Footprint) error {
	data, err := t.b.pack(summarise(x))
	if err != nil {
		return err
	}
	timed, best := 0, math.NaN()
	for _, l := range x.Laps {
		if l.Kind == circuit.TimedLap {
			timed++
			if !(l.Time() >= best) {
				best = l.Time()
			}
		}
	}
	for _, q := range []string{`DELETE FROM result WHERE run = ?`, `DELETE FROM pass WHERE run = ?`, `DELETE FROM visit WHERE run = ?`} {
		if err := t.exec(q, run); err != nil {
			return err
		}
	}
	if err := t.exec(`INSERT INTO result VALUES (?,?,?,?,?,?)`, run, method, x.Circuit.Version, timed, number(best), data); err != nil {
		return err
	}
	ins, err := t.Prepare(`INSERT OR REPLACE INTO pass VALUES (?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?)`)
	if err != nil {
		return err
	}
	defer ins.Close()
	for _, p := range x.Passes {
		if _, err := ins.Exec(run, p.Turn, p.Lap, p.Slot, p.Timed, number(p.Segment), number(p.EntryTime), number(p.ExitTime), number(p.EntrySpeed),
			number(p.MinSpeed), number(p.CarrySpeed), number(p.MaxLean), number(p.MeanDecel), number(p.CutTime), number(p.PeakSlip), number(p.Push),
			number(p.Surplus), number(p.AirTime), number(p.LimiterTime), number(p.BrakeM), number(p.PickupM)); err != nil {
			return err
		}
	}
	// How long each cell of each grid or list was in use.
	for _, v := range cells {
		f := <-v
		for _, c := range f.Cells {
			if c.Dwell <= 0 {
				continue
			}
			if err := t.exec(`INSERT OR REPLACE INTO visit VALUES (?,?,?,?,?,?,?)`, run, f.Setting, c.Row, c.Column, c.TopTurn, c.Dwell, c.Laps); err != nil {
				return err
			}
		}
	}
	return nil
}

// visitsOf finds the use of each grid or list of the bike, side by side, in the
// order of the settings.
func visitsOf(x *ride.Ride, k *bike.Bike) []chan rehearsal.Footprint {
	var out []chan rehearsal.Footprint
	sheet := setting.NewSheet(k.Name, k.First)
	for i := range k.Settings {
		s := &k.Settings[i]
		v := sheet.Values(k.Slots.Trial, s.ID)
		if v == nil {
			v = sheet.Values(k.Slots.Reference, s.ID)
		}
		if len(v) == 0 || len(v[0]) == 0 || s.Kind == setting.Scalar {
			continue
		}
		found := make(chan rehearsal.Footprint, 1)
		out = append(out, found)
		go func() { found <- rehearsal.UseOf(x, k, s.ID) }()
	}
	return out
}

// number is a value for the database: unknown is NULL.
func number(x float64) any {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return nil
	}
	return x
}

// Stale lists the runs whose stored result is of another method or line.
func (b *Book) Stale() ([]int, error) {
	var out []int
	err := each(b.r, func(s scanner) error {
		var n int
		err := s.Scan(&n)
		out = append(out, n)
		return err
	}, `SELECT r.number FROM run r LEFT JOIN result x ON x.run = r.number
		LEFT JOIN (SELECT name, max(version) AS version FROM circuit GROUP BY name) c ON c.name = r.circuit
		WHERE x.run IS NULL OR x.method <> ? OR x.line <> c.version ORDER BY r.number`, method)
	return out, b.ioError(err)
}

// Recompute makes every stale result anew, on all cores. It can be stopped by
// the context at any time and resumed by calling it again: each run is stored
// as it is done. Errors of single runs are gathered, not fatal.
func (b *Book) Recompute(ctx context.Context, progress func(done, of int)) (failed map[int]error, err error) {
	todo, err := b.Stale()
	if err != nil {
		return nil, err
	}
	failed = map[int]error{}
	var mu sync.Mutex
	var wg sync.WaitGroup
	next, done := 0, 0
	for range min(runtime.NumCPU(), max(1, len(todo))) {
		wg.Go(func() {
			for {
				mu.Lock()
				if next >= len(todo) || ctx.Err() != nil {
					mu.Unlock()
					return
				}
				run := todo[next]
				next++
				mu.Unlock()
				err := b.recompute(ctx, run)
				mu.Lock()
				done++
				if err != nil && ctx.Err() == nil {
					failed[run] = err
				}
				if progress != nil {
					progress(done, len(todo))
				}
				mu.Unlock()
			}
		})
	}
	wg.Wait()
	return failed, ctx.Err()
}

// recompute passes the cache by: a season would only wash it out.
func (b *Book) recompute(ctx context.Context, run int) error {
	r, err := b.Run(fmt.Sprint(run))
	if err != nil {
		return err
	}
	c, err := b.Circuit(r.Circuit)
	if err != nil {
		return err
	}
	_, err = b.compute(ctx, r, c)
	return err
}
