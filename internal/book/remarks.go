package book

import (
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"strings"

	"cornerwright/internal/circuit"
	"cornerwright/internal/debrief"
	"cornerwright/internal/say"
)

// AddRemark records what the rider said. The same non-empty key never makes a
// second remark: the first is returned.
func (b *Book) AddRemark(r debrief.Remark, who, key string) (Remark, error) {
	run, err := b.Run(fmt.Sprint(r.Run))
	if err != nil {
		return Remark{}, err
	}
	if err := b.checkRemark(&r, run); err != nil {
		return Remark{}, err
	}
	if key == "" {
		key = uid()
	}
	turns, _ := json.Marshal(r.Turns)
	if r.Turns == nil {
		turns = []byte("[]")
	}
	var id int
	err = b.tx(func(t *tx) error {
		err := t.QueryRow(`SELECT id FROM remark WHERE uid = ?`, key).Scan(&id)
		if err == nil || !errors.Is(err, sql.ErrNoRows) {
			return err
		}
		said := millis(r.At)
		if said == 0 {
			said = t.at
		}
		id, err = t.insert(`INSERT INTO remark (uid, run, turns, phase, lean, says, strength, words, rider, said, who, added) VALUES (?,?,?,?,?,?,?,?,?,?,?,?)`,
			key, r.Run, string(turns), string(r.Phase), r.Lean, string(r.Says), r.Strength, r.Words, r.Rider, said, who, t.at)
		if err != nil {
			return err
		}
		if err := t.index(r.Run, r.Words+" "+string(r.Says)); err != nil {
			return err
		}
		return t.event(Event{Kind: "remark", Run: r.Run, Ref: fmt.Sprint(id), Who: who})
	})
	if err != nil {
		return Remark{}, err
	}
	return b.Remark(id)
}

func (t *tx) index(run int, text string) error {
	if strings.TrimSpace(text) == "" {
		return nil
	}
	return t.exec(`INSERT INTO words (text, run) VALUES (?, ?)`, text, run)
}

// checkRemark refuses what cannot be meant.
func (b *Book) checkRemark(r *debrief.Remark, run Run) error {
	if r.Says == "" && strings.TrimSpace(r.Words) == "" {
		return invalid(say.T("the remark says nothing"), say.T("give a complaint or the rider's own words"))
	}
	if r.Strength == 0 {
		r.Strength = 2
	}
	if r.Strength < 1 || r.Strength > 3 {
		return invalid(say.T("strength {strength} is not on the scale", r.Strength), say.T("use 1 (a little), 2 (clearly) or 3 (badly)"))
	}
	if r.Phase != "" {
		ok := false
		for _, p := range circuit.Phases {
			ok = ok || p == r.Phase
		}
		if !ok {
			return invalid(say.T("{phase} is not a phase of a turn", fmt.Sprintf("%q", string(r.Phase))), say.T("use brake, entry, mid, pickup or drive"))
		}
	}
	if len(r.Words) > 4000 {
		return invalid(say.T("the remark is longer than 4,000 bytes"), say.T("say it shorter"))
	}
	c, err := b.Circuit(run.Circuit)
	if err != nil {
		return err
	}
	known := map[int]bool{}
	var list []string
	for _, t := range c.Turns {
		known[t.Number] = true
		list = append(list, t.Label())
	}
	seen := map[int]bool{}
	for _, n := range r.Turns {
		if !known[n] {
			return invalid(say.T("{name} has no turn {n}", c.Name, n), say.T("its turns are: {list}", strings.Join(list, ", ")))
		}
		if seen[n] {
			return invalid(say.T("turn {n} is named twice", n), say.T("name each turn once"))
		}
		seen[n] = true
	}
	return nil
}

const remarkSelect = `SELECT id, uid, run, turns, phase, lean, says, strength, words, rider, said, who, added,
	coalesce((SELECT word = 'struck' FROM mark WHERE kind = 'remark' AND ref = remark.id ORDER BY mark.id DESC LIMIT 1), 0) FROM remark`

func scanRemark(s scanner) (Remark, error) {
	var r Remark
	var turns string
	var said, added int64
	if err := s.Scan(&r.ID, &r.Key, &r.Run, &turns, &r.Phase, &r.Lean, &r.Says, &r.Strength, &r.Words, &r.Rider, &said, &r.Who, &added, &r.Struck); err != nil {
		return r, err
	}
	r.At, r.Added = instant(said), instant(added)
	if err := json.Unmarshal([]byte(turns), &r.Turns); err != nil {
		return r, damaged(say.T("remark {id} cannot be read", r.ID), err)
	}
	return r, nil
}

// Remark returns one remark.
func (b *Book) Remark(id int) (Remark, error) {
	r, err := scanRemark(b.r.QueryRow(remarkSelect+` WHERE id = ?`, id))
	if errors.Is(err, sql.ErrNoRows) {
		return r, notFound(say.T("there is no remark {id}", id), say.T("list them: cornerwright debrief RUN"))
	}
	return r, b.ioError(err)
}

// Remarks lists a run's remarks in the order they were entered, struck ones too.
func (b *Book) Remarks(run int) ([]Remark, error) {
	var out []Remark
	err := each(b.r, func(s scanner) error {
		r, err := scanRemark(s)
		out = append(out, r)
		return err
	}, remarkSelect+` WHERE run = ? ORDER BY id`, run)
	return out, b.ioError(err)
}

// StrikeRemark takes a remark back by a mark (or puts it back).
func (b *Book) StrikeRemark(id int, struck bool, who string) error {
	r, err := b.Remark(id)
	if err != nil {
		return err
	}
	if r.Struck == struck {
		return nil
	}
	return b.tx(func(t *tx) error { return t.mark("remark", id, 0, markWord(struck), who, "", r.Run) })
}

func markWord(struck bool) string {
	if struck {
		return "struck"
	}
	return "back"
}

func (t *tx) mark(kind string, ref, lap int, word, who, reason string, run int) error {
	if _, err := t.insert(`INSERT INTO mark (uid, kind, ref, lap, word, who, reason, at) VALUES (?,?,?,?,?,?,?,?)`, uid(), kind, ref, lap, word, who, reason, t.at); err != nil {
		return err
	}
	return t.event(Event{Kind: "struck", Run: run, Ref: fmt.Sprintf("%s %d", kind, ref), Who: who})
}

// MarkLap marks a lap of a run as spoilt ("traffic", "mistake", "yellow") or,
// with "", takes the mark off. Verdicts show marked laps struck through.
func (b *Book) MarkLap(run, lap int, word, who string) error {
	switch word {
	case "", "traffic", "mistake", "yellow":
	default:
		return invalid(say.T("{word} is not a mark of a lap", fmt.Sprintf("%q", word)), say.T("use traffic, mistake or yellow, or none to take it off"))
	}
	if _, err := b.Run(fmt.Sprint(run)); err != nil {
		return err
	}
	return b.tx(func(t *tx) error { return t.mark("lap", run, lap, word, who, "", run) })
}

// LapMarks gives the mark of each marked lap of a run.
func (b *Book) LapMarks(run int) (map[int]string, error) {
	out := map[int]string{}
	err := each(b.r, func(s scanner) error {
		var lap int
		var word string
		if err := s.Scan(&lap, &word); err != nil {
			return err
		}
		out[lap] = word
		if word == "" {
			delete(out, lap)
		}
		return nil
	}, `SELECT lap, word FROM mark WHERE kind = 'lap' AND ref = ? ORDER BY id`, run)
	return out, b.ioError(err)
}
