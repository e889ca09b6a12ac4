package book

// applicationID marks book.db as a book in the SQLite header, so that a foreign
// database is refused before anything is read from it: "CWrt".
const applicationID = 0x43577274

// migrations are applied in order, each in one transaction; the position in the
// list is the database's user_version. A released migration never changes: what
// must differ goes into a new one.
//
// Instants are milliseconds since 1970 UTC, 0 for unknown. Human input is only
// ever inserted; uid is random, and is how merging tells things apart. Tables
// from `result` on are computed and may be emptied at any time.
var migrations = []string{`
CREATE TABLE book (key TEXT PRIMARY KEY, value TEXT NOT NULL) STRICT, WITHOUT ROWID;

CREATE TABLE event (
	seq INTEGER PRIMARY KEY AUTOINCREMENT, at INTEGER NOT NULL, kind TEXT NOT NULL,
	run INTEGER NOT NULL, step INTEGER NOT NULL, ref TEXT NOT NULL, who TEXT NOT NULL
) STRICT;

CREATE TABLE original (
	hash TEXT PRIMARY KEY, name TEXT NOT NULL, bytes INTEGER NOT NULL, stored INTEGER NOT NULL,
	added INTEGER NOT NULL, fault TEXT NOT NULL
) STRICT, WITHOUT ROWID;

CREATE TABLE bike (
	name TEXT NOT NULL, version INTEGER NOT NULL, file TEXT NOT NULL, source BLOB NOT NULL,
	added INTEGER NOT NULL, PRIMARY KEY (name, version)
) STRICT, WITHOUT ROWID;

CREATE TABLE circuit (
	name TEXT NOT NULL, version INTEGER NOT NULL, origin TEXT NOT NULL, turns INTEGER NOT NULL,
	length REAL NOT NULL, lat REAL NOT NULL, lon REAL NOT NULL, line BLOB NOT NULL,
	source BLOB, added INTEGER NOT NULL, PRIMARY KEY (name, version)
) STRICT, WITHOUT ROWID;

CREATE TABLE meeting (
	id TEXT PRIMARY KEY, circuit TEXT NOT NULL, day TEXT NOT NULL, name TEXT NOT NULL, added INTEGER NOT NULL
) STRICT, WITHOUT ROWID;

CREATE TABLE map (
	head TEXT PRIMARY KEY, name TEXT NOT NULL, source BLOB NOT NULL, added INTEGER NOT NULL
) STRICT, WITHOUT ROWID;

CREATE TABLE run (
	number INTEGER PRIMARY KEY AUTOINCREMENT, id TEXT NOT NULL UNIQUE,
	meeting TEXT NOT NULL REFERENCES meeting, bike TEXT NOT NULL, bike_version INTEGER NOT NULL,
	circuit TEXT NOT NULL, name TEXT NOT NULL, original TEXT NOT NULL REFERENCES original,
	outing INTEGER NOT NULL, from_s REAL NOT NULL, to_s REAL NOT NULL,
	format TEXT NOT NULL, rows INTEGER NOT NULL, started INTEGER NOT NULL, added INTEGER NOT NULL,
	duration REAL NOT NULL, sheet INTEGER NOT NULL, step INTEGER NOT NULL, map BLOB, problems TEXT NOT NULL,
	FOREIGN KEY (bike, bike_version) REFERENCES bike
) STRICT;
CREATE INDEX run_meeting ON run (meeting);
CREATE INDEX run_original ON run (original);

CREATE TABLE told (
	id INTEGER PRIMARY KEY AUTOINCREMENT, uid TEXT NOT NULL UNIQUE, run INTEGER NOT NULL REFERENCES run,
	field TEXT NOT NULL, value TEXT NOT NULL, who TEXT NOT NULL, at INTEGER NOT NULL
) STRICT;
CREATE INDEX told_run ON told (run);

CREATE TABLE remark (
	id INTEGER PRIMARY KEY AUTOINCREMENT, uid TEXT NOT NULL UNIQUE, run INTEGER NOT NULL REFERENCES run,
	turns TEXT NOT NULL, phase TEXT NOT NULL, lean TEXT NOT NULL, says TEXT NOT NULL, strength INTEGER NOT NULL,
	words TEXT NOT NULL, rider TEXT NOT NULL, said INTEGER NOT NULL, who TEXT NOT NULL, added INTEGER NOT NULL
) STRICT;
CREATE INDEX remark_run ON remark (run);

CREATE TABLE mark (
	id INTEGER PRIMARY KEY AUTOINCREMENT, uid TEXT NOT NULL UNIQUE, kind TEXT NOT NULL, ref INTEGER NOT NULL,
	lap INTEGER NOT NULL, word TEXT NOT NULL, who TEXT NOT NULL, reason TEXT NOT NULL, at INTEGER NOT NULL
) STRICT;
CREATE INDEX mark_ref ON mark (kind, ref);

CREATE TABLE sheet (
	number INTEGER PRIMARY KEY AUTOINCREMENT, uid TEXT NOT NULL UNIQUE, bike TEXT NOT NULL,
	parent INTEGER NOT NULL, step INTEGER NOT NULL, slots TEXT NOT NULL, note TEXT NOT NULL, added INTEGER NOT NULL
) STRICT;

CREATE TABLE step (
	id INTEGER PRIMARY KEY AUTOINCREMENT, uid TEXT NOT NULL UNIQUE, bike TEXT NOT NULL,
	from_sheet INTEGER NOT NULL REFERENCES sheet, to_sheet INTEGER NOT NULL REFERENCES sheet,
	slot TEXT NOT NULL, setting TEXT NOT NULL, cells TEXT NOT NULL, reason TEXT NOT NULL,
	remark INTEGER NOT NULL, finding TEXT NOT NULL, run INTEGER NOT NULL, aim TEXT NOT NULL,
	author TEXT NOT NULL, guards TEXT NOT NULL, added INTEGER NOT NULL
) STRICT;

CREATE TABLE step_state (
	id INTEGER PRIMARY KEY AUTOINCREMENT, uid TEXT NOT NULL UNIQUE, step INTEGER NOT NULL REFERENCES step,
	was TEXT NOT NULL, now TEXT NOT NULL, who TEXT NOT NULL, reason TEXT NOT NULL, run INTEGER NOT NULL, at INTEGER NOT NULL
) STRICT;
CREATE INDEX step_state_step ON step_state (step);

CREATE TABLE overrule (
	id INTEGER PRIMARY KEY AUTOINCREMENT, uid TEXT NOT NULL UNIQUE, step INTEGER NOT NULL REFERENCES step,
	guard TEXT NOT NULL, who TEXT NOT NULL, reason TEXT NOT NULL, at INTEGER NOT NULL
) STRICT;

CREATE TABLE result (
	run INTEGER PRIMARY KEY REFERENCES run, method INTEGER NOT NULL, line INTEGER NOT NULL,
	laps INTEGER NOT NULL, best REAL, data BLOB NOT NULL
) STRICT;

CREATE TABLE pass (
	run INTEGER NOT NULL REFERENCES run, turn INTEGER NOT NULL, lap INTEGER NOT NULL, slot TEXT NOT NULL,
	timed INTEGER NOT NULL, segment REAL, entry_time REAL, exit_time REAL, entry_speed REAL, min_speed REAL,
	exit_speed REAL, max_lean REAL, mean_decel REAL, cut_time REAL, peak_slip REAL, push REAL, surplus REAL,
	air_time REAL, limiter_time REAL, brake_m REAL, pickup_m REAL,
	PRIMARY KEY (run, turn, lap)
) STRICT, WITHOUT ROWID;

CREATE TABLE visit (
	run INTEGER NOT NULL REFERENCES run, setting TEXT NOT NULL, row INTEGER NOT NULL, col INTEGER NOT NULL,
	turn INTEGER NOT NULL, dwell REAL NOT NULL, laps INTEGER NOT NULL,
	PRIMARY KEY (run, setting, row, col)
) STRICT, WITHOUT ROWID;

CREATE TABLE verdict (
	id INTEGER PRIMARY KEY AUTOINCREMENT, step INTEGER NOT NULL, runs TEXT NOT NULL, method INTEGER NOT NULL,
	turn INTEGER NOT NULL, measure TEXT NOT NULL, unit TEXT NOT NULL, effect REAL, lo REAL, hi REAL,
	answer TEXT NOT NULL, data TEXT NOT NULL, at INTEGER NOT NULL
) STRICT;
CREATE UNIQUE INDEX verdict_of ON verdict (step, runs);

CREATE VIRTUAL TABLE words USING fts5 (text, run UNINDEXED, tokenize = 'unicode61 remove_diacritics 2');
`,
	// 2: a sheet knows the newest change of a step's state before it, so that a
	// clock that is set back does not change which sheet is in the bike; -1 is of
	// before, or of another book, and goes by time. Season questions over all runs
	// find their cells without reading those of other settings.
	`
ALTER TABLE sheet ADD COLUMN after_state INTEGER NOT NULL DEFAULT -1;
CREATE INDEX visit_setting ON visit (setting, row, col, run, turn, dwell);
`}
