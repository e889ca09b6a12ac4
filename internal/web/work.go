package web

import (
	"errors"
	"html/template"
	"io"
	"net/http"
	"strings"
	"syscall"

	"cornerwright/internal/book"
	"cornerwright/internal/draw"
	"cornerwright/internal/say"
	"cornerwright/internal/setting"
)

// form reads a bounded form and checks its token.
func (s *server) form(w http.ResponseWriter, r *http.Request) error {
	r.Body = http.MaxBytesReader(w, r.Body, maxForm)
	if err := r.ParseForm(); err != nil {
		var big *http.MaxBytesError
		if errors.As(err, &big) {
			return &book.Error{Kind: book.ErrInvalid, Text: say.T("the form is larger than 64 KiB"), Mend: say.T("shorten what was typed")}
		}
		return errForm
	}
	if !s.signed(r, r.PostForm.Get("token")) {
		return errForm
	}
	return nil
}

// field is one value of a form, trimmed.
func field(r *http.Request, name string) string { return strings.TrimSpace(r.PostForm.Get(name)) }

// trouble puts an error of a person's making in words; ok is false for others.
func trouble(err error) (text, mend say.Text, ok bool) {
	var e *book.Error
	if !errors.As(err, &e) || errors.Is(err, book.ErrDamaged) || errors.Is(err, book.ErrLocked) {
		return "", "", false
	}
	text = e.Text
	if text == "" && e.Err != nil {
		text = say.Of(e.Err)
	}
	if where := e.Where(); where != "" {
		text = say.T("{where}: {what}", where, text)
	}
	return text, e.Mend, true
}

type bikesPage struct {
	Bikes         []book.BikeRecord
	Trouble, Mend say.Text
}

func (s *server) bikes(r *http.Request) (page, error) {
	k, err := s.book.Bikes()
	return page{Title: say.T("Bikes"), Name: "bikes", Body: bikesPage{Bikes: k}}, err
}

// addBike takes a bike file as an upload.
func (s *server) addBike(w http.ResponseWriter, r *http.Request) (string, *page, error) {
	name, data, err := s.upload(w, r, "file", 1<<20)
	if err != nil {
		return "", nil, err
	}
	var text, mend say.Text
	ok := true
	if name == "" {
		text, mend = say.T("no file was chosen"), say.T("choose the bike file, for example bike.toml")
	} else {
		var k book.BikeRecord
		if k, err = s.book.AddBike(name, data); err == nil {
			return "/bike/" + pathEscape(k.Name), nil, nil
		}
		if text, mend, ok = trouble(err); !ok {
			return "", nil, err
		}
	}
	k, err := s.book.Bikes()
	return "", &page{Title: say.T("Bikes"), Name: "bikes", Body: bikesPage{Bikes: k, Trouble: text, Mend: mend}}, err
}

// upload reads one file of a multipart form, at most max bytes; name is ""
// where none was chosen. The form's other fields are in r.Form afterwards.
func (s *server) upload(w http.ResponseWriter, r *http.Request, key string, max int64) (name string, data []byte, err error) {
	got, err := s.received(w, r, max, key)
	if err != nil || got[0].name == "" {
		return "", nil, err
	}
	return got[0].name, got[0].data, nil
}

// sent is one file of a form; name is "" where none was chosen.
type sent struct {
	name string
	data []byte
}

// received reads files of a multipart form, one for each key, at most max bytes
// in all.
func (s *server) received(w http.ResponseWriter, r *http.Request, max int64, keys ...string) (out []sent, err error) {
	tooBig := r.ContentLength > max+maxForm
	r.Body = http.MaxBytesReader(w, r.Body, max+maxForm)
	if !tooBig {
		err = r.ParseMultipartForm(32 << 20)
	}
	if err != nil || tooBig {
		var big *http.MaxBytesError
		if errors.Is(err, syscall.ENOSPC) {
			return nil, &book.Error{Kind: book.ErrInvalid, Text: say.T("the disk of this machine is full: the file could not be put down, nothing of it was taken"), Mend: say.T("make room on the disk and send it again")}
		}
		if tooBig || errors.As(err, &big) {
			return nil, &book.Error{Kind: book.ErrInvalid, Text: say.T("the file is larger than the {max} MiB that are taken here", max>>20), Mend: say.T("check that it is the right file; long recordings can be split in the logger")}
		}
		return nil, s.broken(r, err)
	}
	defer r.MultipartForm.RemoveAll() //nolint:errcheck // temporary files; the system sweeps them
	if !s.signed(r, r.FormValue("token")) {
		return nil, errForm
	}
	for _, key := range keys {
		f, head, err := r.FormFile(key)
		if err != nil {
			out = append(out, sent{})
			continue
		}
		// Grown to its size at once: a copy while growing would double the memory.
		data := make([]byte, head.Size)
		_, err = io.ReadFull(f, data)
		f.Close()
		if err == nil {
			out = append(out, sent{head.Filename, data})
			continue
		}
		return nil, &book.Error{Kind: book.ErrInvalid, Text: say.T("the file could not be read to its end"), Mend: say.T("put the stick back in and choose the file again")}
	}
	return out, nil
}

type slotCells struct {
	Slot  string
	Cells template.HTML
}

type settingRow struct {
	setting.Setting
	Slots []slotCells
}

type bikePage struct {
	Bike     book.BikeRecord
	Sheet    book.Sheet
	Settings []settingRow
	Sheets   []book.Sheet
	Source   string
}

func (s *server) bike(r *http.Request) (page, error) {
	k, err := s.book.Bike(r.PathValue("bike"))
	if err != nil {
		return page{}, err
	}
	sh, err := s.book.CurrentSheet(k.Name)
	if err != nil {
		return page{}, err
	}
	all, err := s.book.Sheets(k.Name)
	if err != nil {
		return page{}, err
	}
	d := bikePage{Bike: k, Sheet: sh, Sheets: all, Source: string(k.Bike.Source)}
	for _, x := range k.Bike.Settings {
		row := settingRow{Setting: x}
		for _, slot := range []string{k.Bike.Slots.Reference, k.Bike.Slots.Trial} {
			v := sh.Values(slot, x.ID)
			if v == nil {
				continue
			}
			svg := draw.NewSVG(110, 60)
			h := draw.Cells(svg, x, v, draw.CellsOptions{Width: 110, Decimals: -1})
			svg.Resize(110, h)
			row.Slots = append(row.Slots, slotCells{slot, svg.HTML("cells", say.T("{id} in slot {slot}", x.ID, slot), say.Plain(strings.ReplaceAll(setting.FormatTable(&x, v), "\t", " ")))})
		}
		d.Settings = append(d.Settings, row)
	}
	return page{Title: say.Plain(k.Name), Name: "bike", Body: d}, nil
}
