package web

import (
	"context"
	"errors"
	"io"
	"net"
	"net/http"

	"cornerwright/internal/book"
	"cornerwright/internal/say"
)

// errForm is a form of another page or of a server that has gone.
var errForm = say.Error("the form is stale: go back, reload the page and send it again")

// broken is why an upload did not arrive whole.
func (s *server) broken(r *http.Request, err error) error {
	select {
	case <-s.halt:
		return context.Canceled
	default:
	}
	var late net.Error
	if errors.As(err, &late) && late.Timeout() {
		return &book.Error{Kind: book.ErrInvalid, Text: say.T("the file did not arrive in time; nothing of it was taken"), Mend: say.T("go nearer to the network, or add it at the machine itself")}
	}
	if errors.Is(err, io.ErrUnexpectedEOF) || errors.Is(err, io.EOF) || r.Context().Err() != nil {
		return &book.Error{Kind: book.ErrInvalid, Text: say.T("the file did not arrive whole; nothing of it was taken"), Mend: say.T("choose it again and send it again")}
	}
	return errForm
}

type failure struct {
	Status     int
	Text, Mend say.Text
}

// fail maps an error to a page.
func (s *server) fail(w http.ResponseWriter, r *http.Request, err error) {
	f := failure{Status: http.StatusInternalServerError, Text: say.T("something broke while this page was made; it is in the log"), Mend: say.T("reload the page; if it breaks again, look at the log")}
	var e *book.Error
	switch {
	case errors.Is(err, errForm):
		// The program was started anew since the form was drawn, or the form is
		// not ours. What was typed is shown again, to be sent by a person's hand.
		if k := keep(w, r); k.any() {
			s.render(w, r, http.StatusForbidden, page{Title: say.T("Send it once more"), Name: "kept", Body: k})
			return
		}
		f.Status, f.Text, f.Mend = http.StatusForbidden, say.Of(err), ""
	case errors.Is(err, context.Canceled):
		select {
		case <-s.closing:
			f.Text, f.Mend = say.T("the program is being stopped before this was done"), say.T("start it again, then look whether it is in the book and send it again if not")
		default:
			f.Text, f.Mend = say.T("the page was left before it was made"), say.T("reload the page")
		}
		f.Status = http.StatusServiceUnavailable
	case errors.As(err, &e):
		f.Text, f.Mend = e.Text, e.Mend
		if f.Text == "" {
			f.Text = say.Of(e.Err)
		}
		switch e.Kind {
		case book.ErrNotFound:
			f.Status = http.StatusNotFound
		case book.ErrConflict:
			f.Status = http.StatusConflict
		case book.ErrInvalid:
			f.Status = http.StatusUnprocessableEntity
		case book.ErrLocked, book.ErrDamaged:
			f.Status = http.StatusServiceUnavailable
		}
	}
	if f.Status == http.StatusServiceUnavailable && r.Method == http.MethodPost {
		// The disk is full or gone, or the program is being stopped: what was
		// typed is shown with the reason, to be sent when that is mended.
		if k := keep(w, r); len(k.Fields) > 0 {
			k.Trouble, k.Mend = f.Text, f.Mend
			s.log.Error("request failed", "path", short(r.URL.Path), "error", err)
			s.render(w, r, f.Status, page{Title: say.T("Send it once more"), Name: "kept", Body: k})
			return
		}
	}
	if errors.Is(err, context.Canceled) {
		s.log.Info("request left", "path", short(r.URL.Path))
	} else if f.Status >= 500 {
		s.log.Error("request failed", "path", short(r.URL.Path), "error", err)
	}
	s.render(w, r, f.Status, page{Title: say.T("That did not work"), Name: "failure", Body: f})
}

// short keeps a path of a request fit for a line of a log.
func short(path string) string {
	if len(path) > 200 {
		return path[:200] + "…"
	}
	return path
}
