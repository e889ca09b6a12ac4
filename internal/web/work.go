package web

import (
	"bytes"
	"errors"
	"html/template"
	"io"
	"mime/multipart"
	"net/http"
	"slices"
	"strings"

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
// in all. They are read as they come, into memory of their size: a form that is
// gathered first and read then takes each byte three times, and a recording is
// waited for. The form's other fields are in r.Form afterwards.
func (s *server) received(w http.ResponseWriter, r *http.Request, max int64, keys ...string) ([]sent, error) {
	out := make([]sent, len(keys))
	tooBig := r.ContentLength > max+maxForm
	r.Body = http.MaxBytesReader(w, r.Body, max+maxForm)
	var err error
	if !tooBig {
		err = readForm(r, out, keys)
	}
	if err != nil || tooBig {
		var big *http.MaxBytesError
		if tooBig || errors.As(err, &big) {
			return nil, &book.Error{Kind: book.ErrInvalid, Text: say.T("the file is larger than the {max} MiB that are taken here", max>>20), Mend: say.T("check that it is the right file; long recordings can be split in the logger")}
		}
		return nil, s.broken(r, err)
	}
	if !s.signed(r, r.FormValue("token")) {
		return nil, errForm
	}
	return out, nil
}

// readForm reads a multipart form part by part: the first file of each key to out,
// fields to r.Form.
func readForm(r *http.Request, out []sent, keys []string) error {
	if err := r.ParseForm(); err != nil {
		return err
	}
	form, err := r.MultipartReader()
	if err != nil {
		return err
	}
	const mostParts, mostAhead = 100, 64 << 20
	room := int64(maxForm) // for fields
	for n := 0; ; n++ {
		part, err := form.NextPart()
		if err == io.EOF {
			return nil
		}
		if err != nil {
			return err
		}
		if n >= mostParts {
			return multipart.ErrMessageTooLarge
		}
		k := slices.Index(keys, part.FormName())
		switch {
		case part.FileName() == "":
			v, err := io.ReadAll(io.LimitReader(part, room+1))
			if err != nil {
				return err
			}
			if room -= int64(len(v)); room < 0 {
				return multipart.ErrMessageTooLarge
			}
			r.Form.Add(part.FormName(), string(v))
			r.PostForm.Add(part.FormName(), string(v))
		case k >= 0 && out[k].name == "":
			var data bytes.Buffer
			if r.ContentLength > 0 {
				data.Grow(int(min(r.ContentLength, mostAhead)) + bytes.MinRead)
			}
			if _, err := data.ReadFrom(part); err != nil {
				return err
			}
			out[k] = sent{part.FileName(), data.Bytes()}
		default:
			if _, err := io.Copy(io.Discard, part); err != nil {
				return err
			}
		}
	}
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
