// Package book is the folder with everything: book.db, the original
// recordings, and the column files. It stores what people say and what files
// hold, runs the pipeline over it, and keeps what that yields.
//
// Three kinds of things live in a book, and each is treated in its own way.
// Originals never change: they are named by the sha-256 of their content,
// written aside, synced, renamed, and only then known to the database. Human
// input never changes either: remarks, steps, sheets and states are added, and
// a deletion is a mark. Results are computed from the two; they carry the
// version of the method and are made anew when it changes.
package book

import (
	"time"

	"cornerwright/internal/bike"
	"cornerwright/internal/debrief"
	"cornerwright/internal/recording"
	"cornerwright/internal/say"
	"cornerwright/internal/setting"
)

// BikeRecord is one version of a bike file as the book holds it.
type BikeRecord struct {
	Name    string
	Version int        // from 1; a changed file makes a new version, runs keep theirs
	Bike    *bike.Bike // parsed
	Sheet   int        // number of the newest sheet of the bike
	Added   time.Time
}

// CircuitRecord names a circuit of the book; Circuit(name) gives its line.
type CircuitRecord struct {
	Name    string
	Version int      // of the reference line in use
	Origin  say.Text // "learnt from run 3", "file gate.toml"
	Turns   int
	Length  float64 // m
	Added   time.Time
}

// Meeting is a day or weekend at one circuit.
type Meeting struct {
	ID      string // "2026-05-14-larkmoor", also its folder
	Circuit string
	Day     string // ISO date of its first run; "undated" where no file says
	Name    string // as people call it; "" for none
	Runs    []int  // numbers, in order
}

// Run is one outing: one recording with what people told about it.
type Run struct {
	Number   int    // from 1, in order of adding
	ID       string // hex, from the content of the recording: equal in every book
	Meeting  string // id
	Bike     string
	BikeFile int // version of the bike file
	Circuit  string
	Line     int    // version of the circuit's reference line
	Name     string // file name as added
	Original string // sha-256 of the original, hex
	Bytes    int64  // size of the original
	Format   string
	Rows     int
	Outing   int        // 1 unless the file holds several outings
	Span     [2]float64 // s, the part of the recording's clock that is this run; {0,0} for all
	Started  time.Time  // zero if the file does not say
	Added    time.Time
	Duration float64 // s
	Slot     string  // where the file has no slot channel and somebody told it
	Sheet    int     // sheet in the bike during the run, 0 unknown
	Step     int     // step under trial in this run, 0 none
	Tyre     string
	Weather  string
	Note     string
	Laps     int     // timed laps
	Best     float64 // s, best timed lap, 0 if there is none
	Struck   bool    // taken out of lists by a mark; nothing is lost
	Problems []recording.Problem
}

// Remark is a remark with its place in the book.
type Remark struct {
	debrief.Remark
	Key    string // client's own key; the same key never makes a second remark
	Who    string // who entered it
	Added  time.Time
	Struck bool // taken back by a mark
}

// StateChange is one entry of a step's history.
type StateChange struct {
	From, To string
	Who      string
	Reason   string
	Run      int // run the change rests on, 0 none
	At       time.Time
}

// Step is a step with its place in the book.
type Step struct {
	setting.Step
	Author  string
	Added   time.Time
	Guards  []setting.GuardResult // as they stood when it was recorded
	History []StateChange
}

// Step states, in the order of their life.
const (
	Proposed = "proposed" // recorded, not yet in a bike
	Loaded   = "loaded"   // in the bike, by a licensed technician
	Kept     = "kept"
	Reverted = "reverted"
	Repeated = "repeated" // to be ridden again before it is judged
)

// Sheet is a sheet with its place in the book. Sheets are immutable.
type Sheet struct {
	setting.Sheet
	Step  int // step that made it, 0 for a bike file
	Added time.Time
}

// AddRequest asks for one recording to be put into the book. Exactly one of
// Path, Data is given.
type AddRequest struct {
	Path    string // file to read
	Name    string // name to show; base of Path if empty
	Data    []byte
	Bike    string // "" allowed where the book holds one bike only
	Circuit string // "" recognises it by place, or learns it
	Map     []byte // column map (TOML); nil uses the one remembered for these columns
	MapName string // file name of Map, for messages
	Slot    string // where no channel says
	Step    int    // step under trial, 0 takes the one that is loaded
	Tyre    string
	Note    string
	Weather string
	Day     string // ISO date, where the file does not say
	// Progress, if set, is told the stage and the share done of the whole, 0..1.
	Progress func(stage string, share float64)
	// Watch, if set, is told the same and more.
	Watch func(AddProgress)
}

// AddProgress is how far an Add has come.
type AddProgress struct {
	Stage       string
	Share       float64 // of the whole, 0..1
	Bytes, Size int64   // of the file; Bytes 0 until it is being read
	Rows        int
	Left        time.Duration // estimated from what is done; 0 while that says too little
}

// AddResult is what became of one file.
type AddResult struct {
	Original  string // sha-256; the original is kept even where the file cannot be used
	Runs      []Run
	Duplicate bool // the very same content was there already; Runs are the old ones
	Learnt    bool // the circuit was learnt from this file
	Problems  []recording.Problem
}

// RunFilter selects runs; zero fields select all.
type RunFilter struct {
	Bike, Circuit, Meeting string
	Since, Until           time.Time
	Words                  string // full text over names, notes, tyres, remarks
	Struck                 bool   // include struck runs
	Limit                  int    // newest first if > 0; 0 all in order
}

// Event tells what changed, for pages that stay up to date. Seq grows by one a
// change and is stored, so a reader that lost its connection resumes after the
// last one it saw.
type Event struct {
	Seq  int64     `json:"seq"`
	At   time.Time `json:"at"`
	Kind string    `json:"kind"` // run, remark, step, sheet, circuit, bike, verdict, struck
	Run  int       `json:"run,omitempty"`
	Step int       `json:"step,omitempty"`
	Ref  string    `json:"ref,omitempty"` // number or name of the thing
	Who  string    `json:"who,omitempty"`
}

// StepOptions go with a step that is recorded.
type StepOptions struct {
	Author     string
	Conditions Conditions
	Why        string // reason for a step on top of one without a verdict
}

// Conditions are what people at the track know and no channel states; words of
// package rehearsal ("dry", "wet"; "warm", "cold", "worn", "changed").
type Conditions struct {
	Surface, Tyre, Air string
}
