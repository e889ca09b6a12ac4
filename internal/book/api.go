package book

import (
	"context"
	"errors"
	"io"

	"cornerwright/internal/circuit"
	"cornerwright/internal/debrief"
	"cornerwright/internal/recording"
	"cornerwright/internal/rehearsal"
	"cornerwright/internal/ride"
	"cornerwright/internal/setting"
)

// Book is an open book. All methods may be called from many goroutines at once.
type Book struct{}

var errSoon = errors.New("book: method not filled in yet")

// Create makes an empty book in dir, which may be absent or empty, and opens it.
func Create(dir string) (*Book, error) { return nil, errSoon }

// Open opens the book in dir and locks it against other processes; ErrLocked
// where another process has it, ErrDamaged where it cannot be read.
func Open(dir string) (*Book, error) { return nil, errSoon }

// Close releases the lock. The book must not be used afterwards.
func (b *Book) Close() error { return errSoon }

// Dir is the folder of the book.
func (b *Book) Dir() string { return "" }

// AddBike checks a bike file and adds it. A file with the name of a bike that
// is there makes a new version of it; runs keep the version they were added
// with. name is the file's name, for messages.
func (b *Book) AddBike(name string, toml []byte) (BikeRecord, error) { return BikeRecord{}, errSoon }

// Bikes lists the newest version of every bike, by name.
func (b *Book) Bikes() ([]BikeRecord, error) { return nil, errSoon }

// Bike returns the newest version of a bike; ErrNotFound names those there are.
func (b *Book) Bike(name string) (BikeRecord, error) { return BikeRecord{}, errSoon }

// AddCircuit adds a circuit by hand, or edits a learnt one: gate, turn names.
func (b *Book) AddCircuit(name string, toml []byte) (CircuitRecord, error) {
	return CircuitRecord{}, errSoon
}

// Circuits lists the circuits by name.
func (b *Book) Circuits() ([]CircuitRecord, error) { return nil, errSoon }

// Circuit returns a circuit by name, with its reference line.
func (b *Book) Circuit(name string) (*circuit.Circuit, error) { return nil, errSoon }

// Meetings lists the meetings, newest first.
func (b *Book) Meetings() ([]Meeting, error) { return nil, errSoon }

// Add puts one recording into the book, analyses it and returns its runs.
// Where the file cannot be used the error says where, what and how to mend it,
// AddResult.Problems lists everything found, and the original is kept.
func (b *Book) Add(ctx context.Context, req AddRequest) (AddResult, error) {
	return AddResult{}, errSoon
}

// Runs lists runs in order of their number.
func (b *Book) Runs(f RunFilter) ([]Run, error) { return nil, errSoon }

// Run finds a run by number, by the beginning of its id, or "last".
func (b *Book) Run(ref string) (Run, error) { return Run{}, errSoon }

// StrikeRun takes a run out of the lists by a mark (or back in).
func (b *Book) StrikeRun(run int, struck bool, who, reason string) error { return errSoon }

// Annotate changes what people told about a run; the earlier words are kept.
func (b *Book) Annotate(run int, field, value, who string) error { return errSoon }

// Original opens the bytes of an original recording by its sha-256.
func (b *Book) Original(hash string) (io.ReadCloser, error) { return nil, errSoon }

// Recording reads the recording of a run anew from its original.
func (b *Book) Recording(ctx context.Context, run int) (*recording.Recording, error) {
	return nil, errSoon
}

// Ride returns a run analysed, from memory or computed anew. Read only: it is
// shared between callers.
func (b *Book) Ride(ctx context.Context, run int) (*ride.Ride, error) { return nil, errSoon }

// Laps, Passes and Episodes of a run come from the stored tables, which are
// made anew first where the method has changed.
func (b *Book) Laps(ctx context.Context, run int) ([]circuit.Lap, error)      { return nil, errSoon }
func (b *Book) Passes(ctx context.Context, run int) ([]ride.Pass, error)      { return nil, errSoon }
func (b *Book) Episodes(ctx context.Context, run int) ([]ride.Episode, error) { return nil, errSoon }

// AddRemark records what the rider said. The same non-empty key never makes a
// second remark: the first is returned.
func (b *Book) AddRemark(r debrief.Remark, who, key string) (Remark, error) {
	return Remark{}, errSoon
}

// Remarks lists a run's remarks in the order they were said, struck ones too.
func (b *Book) Remarks(run int) ([]Remark, error) { return nil, errSoon }

// StrikeRemark takes a remark back by a mark (or puts it back).
func (b *Book) StrikeRemark(id int, struck bool, who string) error { return errSoon }

// Debrief joins the run's remarks with its data.
func (b *Book) Debrief(ctx context.Context, run int, o debrief.Options) (*debrief.Result, error) {
	return nil, errSoon
}

// Guards answers every guard for a step that is not recorded yet.
func (b *Book) Guards(ctx context.Context, s setting.Step, o StepOptions) ([]setting.GuardResult, error) {
	return nil, errSoon
}

// NewStep records a step (proposed) and makes its sheet. s.From 0 takes the
// bike's newest sheet, s.Slot "" the trial slot. Where a guard stands in the
// way that s.Overrules does not name, it returns ErrConflict and the answers in
// Step.Guards.
func (b *Book) NewStep(ctx context.Context, s setting.Step, o StepOptions) (Step, error) {
	return Step{}, errSoon
}

// Steps lists all steps of a bike ("" all bikes), oldest first.
func (b *Book) Steps(bikeName string) ([]Step, error) { return nil, errSoon }

// Step returns one step.
func (b *Book) Step(id int) (Step, error) { return Step{}, errSoon }

// SetStepState moves a step on. from is the state the caller saw; where it has
// changed since, the answer is ErrConflict and nothing is done.
func (b *Book) SetStepState(id int, from, to, who, reason string, run int) (Step, error) {
	return Step{}, errSoon
}

// Sheets lists a bike's sheets, oldest first.
func (b *Book) Sheets(bikeName string) ([]Sheet, error) { return nil, errSoon }

// Sheet returns one sheet.
func (b *Book) Sheet(n int) (Sheet, error) { return Sheet{}, errSoon }

// Rehearse applies a step to the recorded laps of a run (0: the step's own).
func (b *Book) Rehearse(ctx context.Context, step, run int) (*rehearsal.Rehearsal, error) {
	return nil, errSoon
}

// RehearseStep does the same for a step that is not recorded yet.
func (b *Book) RehearseStep(ctx context.Context, s setting.Step, run int) (*rehearsal.Rehearsal, error) {
	return nil, errSoon
}

// Events lists what changed after an event number, oldest first, at most 1000.
func (b *Book) Events(after int64) ([]Event, error) { return nil, errSoon }

// Subscribe tells of changes as they are made. The channel carries the newest
// event number and never blocks the book: a slow reader misses numbers, not
// events, as it asks Events for all after the last it has seen. stop ends it.
func (b *Book) Subscribe() (news <-chan int64, stop func()) { return nil, func() {} }

// LastEvent is the number of the newest event.
func (b *Book) LastEvent() (int64, error) { return 0, errSoon }
