package web

import (
	"crypto/rand"
	"encoding/hex"
	"fmt"
	"net/http"
	"strconv"
	"strings"

	"cornerwright/internal/book"
	"cornerwright/internal/circuit"
	"cornerwright/internal/debrief"
	"cornerwright/internal/say"
)

// newKey makes the key of one remark.
func newKey() string {
	var b [9]byte
	rand.Read(b[:]) //nolint:errcheck // never fails: crypto/rand documents it
	return hex.EncodeToString(b[:])
}

// remark takes a remark in the rider's own words, or from the lists.
func (s *server) remark(w http.ResponseWriter, r *http.Request) (string, *page, error) {
	if err := s.form(w, r); err != nil {
		return "", nil, err
	}
	x, err := s.runOf(r)
	if err != nil {
		return "", nil, err
	}
	text, ask, err := s.takeRemark(r, x)
	if err != nil {
		return "", nil, err
	}
	phone := field(r, "from") == "phone"
	if text == "" {
		if phone {
			return fmt.Sprintf("/phone/%d?said#said", x.Number), nil, nil
		}
		return fmt.Sprintf("/run/%d#said", x.Number), nil, nil
	}
	typed := map[string]string{}
	for _, k := range []string{"words", "rider", "turn", "phase", "says", "strength"} {
		typed[k] = field(r, k)
	}
	if phone {
		p, err := s.phone(r)
		if err != nil {
			return "", nil, err
		}
		d := p.Body.(phonePage)
		d.Typed, d.Trouble, d.Ask = typed, text, ask
		p.Body = d
		return "", &p, nil
	}
	d, err := s.runBody(r, x)
	if err != nil {
		return "", nil, err
	}
	d.Typed, d.Trouble, d.Ask = typed, text, ask
	if k := field(r, "key"); k != "" {
		d.Key = k
	}
	return "", &page{Title: say.T("Run {1} · {2}", x.Number, x.Circuit), Name: "run", Body: d}, nil
}

// takeRemark records what a form says; text tells what is missing or asked back.
func (s *server) takeRemark(r *http.Request, x book.Run) (text say.Text, ask []debrief.Question, err error) {
	c, err := s.book.Circuit(x.Circuit)
	if err != nil {
		return "", nil, err
	}
	words := field(r, "words")
	var list []debrief.Remark
	// What was chosen from the lists. It goes before what is read from the words.
	m := debrief.Remark{Says: debrief.Complaint(field(r, "says")), Words: words, Phase: circuit.Phase(field(r, "phase")), Strength: 2}
	if n, err := strconv.Atoi(field(r, "strength")); err == nil {
		m.Strength = n
	}
	for _, q := range strings.FieldsFunc(field(r, "turn"), func(c rune) bool { return c == ',' || c == ' ' }) {
		n, err := strconv.Atoi(q)
		if err != nil {
			return say.T("{q} is no turn number", fmt.Sprintf("%q", q)), nil, nil
		}
		m.Turns = append(m.Turns, n)
	}
	if m.Says != "" {
		list = []debrief.Remark{m}
	} else {
		if words == "" {
			return say.T("nothing was said: write the rider's words, or choose from the lists"), nil, nil
		}
		text := words
		for _, n := range m.Turns {
			text += fmt.Sprintf(", turn %d", n)
		}
		read := debrief.ParseWords(text, c.Turns)
		if len(read.Questions) > 0 || len(read.Remarks) == 0 {
			return say.T("this can be read in more than one way: choose from the lists"), read.Questions, nil
		}
		list = read.Remarks
		for i := range list {
			q := &list[i]
			q.Words = words
			if len(m.Turns) > 0 {
				q.Turns = m.Turns
			}
			if m.Phase != "" {
				q.Phase = m.Phase
			}
			if m.Strength != 2 { // the usual one may be nobody's choice
				q.Strength = m.Strength
			}
		}
	}
	who := youOf(r).Name
	if who == "" {
		who = "page"
	}
	for _, m := range list {
		if err := m.Check(); err != nil {
			return say.Of(err), nil, nil
		}
	}
	for i, m := range list {
		m.Run, m.Rider = x.Number, field(r, "rider")
		if err := debrief.CheckTurns(m, c.Turns); err != nil {
			return say.Of(err), nil, nil
		}
		key := field(r, "key")
		if key != "" && i > 0 {
			key += "-" + strconv.Itoa(i)
		}
		if len(key) > 64 {
			key = ""
		}
		if _, err := s.book.AddRemark(m, who, key); err != nil {
			if text, mend, ok := trouble(err); ok {
				return say.T("{what}. {mend}", text, mend), nil, nil
			}
			return "", nil, err
		}
	}
	return "", nil, nil
}
