// Package floor states which package stands on which floor and so which way
// imports may point: only down. Floors 0 to 5 are pure: values in, values out.
// Its test reads every package of the module and fails on an arrow that points
// up or sideways, or on a pure package that knows the disk, the network, the
// clock, SQL or HTML.
package floor

// Of maps each package below internal/ to its floor.
var Of = map[string]int{
	"unit":      0,
	"signal":    0,
	"inference": 0,
	"floor":     0,
	"say":       0, // sentences with their values, for any language

	"recording": 1,
	"setting":   1,
	"demo":      1,

	"intake":  2,
	"circuit": 2,
	"bike":    2,
	"proving": 2, // test support: demo runs as recordings

	"ride": 3,

	"rehearsal": 4,
	"verdict":   4,

	"debrief": 5,

	"book":     6,
	"contract": 7, // the JSON answers, built from what the book yields
	"draw":     6,

	"words": 7, // what the pages say
	"paper": 7,
	"web":   8,
	"cmd":   9,
}

// Pure is the highest floor that may not touch the outside.
const Pure = 5

// Support holds rooms that only tests use. They may read the environment, to
// learn how many seeds were asked for; imports still point down.
var Support = map[string]bool{"proving": true}

// Outside lists what a pure package may not import.
var Outside = []string{
	"os", "os/exec", "os/signal", "io/ioutil", "path/filepath", "syscall",
	"net", "net/http", "net/url", "net/netip", "log", "log/slog",
	"database/sql", "html/template", "text/template", "plugin", "embed",
}
