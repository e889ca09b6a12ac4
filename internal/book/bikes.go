package book

import (
	"bytes"
	"database/sql"
	"encoding/json"
	"errors"
	"path/filepath"
	"reflect"
	"strconv"
	"strings"

	"cornerwright/internal/bike"
	"cornerwright/internal/say"
	"cornerwright/internal/setting"
)

// AddBike checks a bike file and adds it. A file with the name of a bike that
// is there makes a new version of it; runs keep the version they were added
// with. Where its values differ from the bike's newest sheet, they become a new
// sheet. The same file again changes nothing. name is the file's name, for
// messages.
func (b *Book) AddBike(name string, toml []byte) (BikeRecord, error) {
	k, err := bike.Parse(name, toml)
	if err != nil {
		return BikeRecord{}, asInvalid(err)
	}
	err = b.tx(func(t *tx) error { return t.addBike(name, toml, k) })
	if err != nil {
		return BikeRecord{}, err
	}
	return b.Bike(k.Name)
}

func (t *tx) addBike(file string, toml []byte, k *bike.Bike) error {
	var version int
	var old []byte
	err := t.QueryRow(`SELECT version, source FROM bike WHERE name = ? ORDER BY version DESC LIMIT 1`, k.Name).Scan(&version, &old)
	if err != nil && !errors.Is(err, sql.ErrNoRows) {
		return err
	}
	if err == nil && bytes.Equal(old, toml) {
		return nil
	}
	if err := t.exec(`INSERT INTO bike VALUES (?,?,?,?,?)`, k.Name, version+1, filepath.Base(file), toml, t.at); err != nil {
		return err
	}
	sheet := setting.NewSheet(k.Name, k.First)
	current, err := currentSheet(t, k.Name)
	if err != nil && !errors.Is(err, ErrNotFound) {
		return err
	}
	if err != nil || !sameSlots(current.Slots, sheet.Slots) {
		sheet.Parent = current.Number
		sheet.Note = "values of " + filepath.Base(file)
		if _, err := t.insertSheet(sheet, 0, uid()); err != nil {
			return err
		}
	}
	return t.event(Event{Kind: "bike", Ref: k.Name})
}

// sameSlots compares by value: nil and empty are alike.
func sameSlots(a, b map[string]map[string]setting.Values) bool {
	x, _ := json.Marshal(a)
	y, _ := json.Marshal(b)
	return bytes.Equal(x, y) || reflect.DeepEqual(a, b)
}

// asInvalid makes a parse error with a place one of the book's kinds.
func asInvalid(err error) error {
	var be *bike.Error
	if errors.As(err, &be) {
		e := &Error{Kind: ErrInvalid, File: be.File, Line: be.Line, Column: be.Column, Text: be.Text, Mend: be.Mend}
		if len(be.Also) > 0 {
			var more []string
			for _, a := range be.Also {
				more = append(more, a.Error())
			}
			e.More = more
		}
		return e
	}
	return &Error{Kind: ErrInvalid, Err: err}
}

const bikeSelect = `SELECT name, version, source, added FROM bike b
	WHERE version = (SELECT max(version) FROM bike WHERE name = b.name)`

func (b *Book) scanBike(s scanner) (BikeRecord, error) {
	var r BikeRecord
	var src []byte
	var at int64
	if err := s.Scan(&r.Name, &r.Version, &src, &at); err != nil {
		return r, err
	}
	r.Added = instant(at)
	k, err := bike.Parse(r.Name+".toml", src)
	if err != nil {
		return r, damaged(say.T("the bike {name} in the book cannot be read", r.Name), err)
	}
	r.Bike = k
	return r, nil
}

// Bikes lists the newest version of every bike, by name.
func (b *Book) Bikes() ([]BikeRecord, error) {
	var out []BikeRecord
	err := each(b.r, func(s scanner) error {
		r, err := b.scanBike(s)
		out = append(out, r)
		return err
	}, bikeSelect+` ORDER BY name`)
	for i := range out {
		if err == nil {
			var s Sheet
			if s, err = currentSheet(b.r, out[i].Name); err == nil {
				out[i].Sheet = s.Number
			}
		}
	}
	return out, b.ioError(err)
}

// Bike returns the newest version of a bike, by its name in any case or an
// unmistakable beginning of it; "" takes the only one there is. ErrNotFound
// names those there are.
func (b *Book) Bike(name string) (BikeRecord, error) {
	all, err := b.Bikes()
	if err != nil {
		return BikeRecord{}, err
	}
	var names []string
	for _, r := range all {
		names = append(names, r.Name)
	}
	i, err := pick("bike", name, names, say.T("add one: cornerwright bike FILE.toml"))
	if err != nil {
		return BikeRecord{}, err
	}
	return all[i], nil
}

// bikeAt returns one version of a bike.
func (b *Book) bikeAt(name string, version int) (*bike.Bike, error) {
	r, err := b.scanBike(b.r.QueryRow(`SELECT name, version, source, added FROM bike WHERE name = ? AND version = ?`, name, version))
	if errors.Is(err, sql.ErrNoRows) {
		return nil, damaged(say.T("version {version} of the bike {name} is missing", version, name), nil)
	}
	return r.Bike, b.ioError(err)
}

// pick finds the one name that is meant.
func pick(noun, name string, names []string, none say.Text) (int, error) {
	if len(names) == 0 {
		return 0, notFound(say.T("the book holds no {noun}", say.Key(noun)), none)
	}
	list := strings.Join(names, ", ")
	if name == "" {
		if len(names) == 1 {
			return 0, nil
		}
		return 0, invalid(say.T("the book holds several of these: {noun}", say.Key(noun)), say.T("say which with --{noun}: {list}", noun, list))
	}
	found := -1
	for i, n := range names {
		if n == name || strings.EqualFold(n, name) {
			return i, nil
		}
		if strings.HasPrefix(strings.ToLower(n), strings.ToLower(name)) {
			if found >= 0 {
				return 0, invalid(say.T("{name} fits more than one {noun}", strconv.Quote(name), say.Key(noun)), say.T("write it out: {list}", list))
			}
			found = i
		}
	}
	if found < 0 {
		return 0, notFound(say.T("no {noun} is named {name}", say.Key(noun), strconv.Quote(name)), say.T("there are: {list}", list))
	}
	return found, nil
}
