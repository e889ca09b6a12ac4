package intake

import (
	"bytes"
	"io"

	"cornerwright/internal/recording"
	"cornerwright/internal/say"
)

// open reads one input of any kind; depth counts wrappings undone.
func open(name string, r io.ReaderAt, size int64, opts Options, depth int) (*Result, error) {
	head := make([]byte, min(size, 64<<10))
	n, err := r.ReadAt(head, 0)
	if err != nil && err != io.EOF {
		return nil, &Error{File: name, Text: say.T("cannot be read: {why}", err), Mend: say.T("copy the file from the stick again")}
	}
	head = head[:n]
	if depth < 3 {
		if res, ok, err := unwrap(name, head, r, size, opts, depth); ok {
			return res, err
		}
	}
	return openPlain(name, head, io.NewSectionReader(r, 0, size), r, size, opts)
}

// openPlain reads input that is not compressed, as a stream; at and size serve
// the formats that need to jump.
func openPlain(name string, head []byte, r io.Reader, at io.ReaderAt, size int64, opts Options) (*Result, error) {
	var srcs []*source
	var err error
	if isParquet(head) {
		return readParquet(name, at, size, opts)
	}
	opts.sized = at != nil
	text, enc := decode(head, r)
	sample := make([]byte, min(64<<10, size+4))
	n, _ := io.ReadFull(text, sample)
	sample = sample[:n]
	text = io.MultiReader(bytes.NewReader(sample), text)
	switch kind := kindOfText(sample); {
	case kind == "binary":
		return nil, &Error{File: name, Line: 1, Column: 1, Text: say.T("this is no recording: {head}", binaryWhat(head)), Mend: say.T("export it as delimited text, a CAN log, NMEA, GPX or Parquet")}
	case kind == "markup":
		what, mend := say.T("an XML document that is no GPX"), say.T("export it as delimited text, a CAN log, NMEA, GPX or Parquet")
		if low := bytes.ToLower(sample[:min(len(sample), 2048)]); bytes.Contains(low, []byte("<html")) || bytes.Contains(low, []byte(say.T("<!doctype html"))) {
			what, mend = say.T("a web page"), say.T("the page was saved in place of the recording (a sign-in page, perhaps): fetch the file again")
		}
		return nil, &Error{File: name, Line: 1, Column: 1, Text: say.T("this is no recording: {what}", what), Source: firstLine(sample), Mend: mend}
	case kind == "toml":
		return nil, &Error{File: name, Line: 1, Column: 1, Text: say.T("this is no recording: a file of settings (TOML)"), Source: firstLine(sample), Mend: say.T("a bike is read with: cornerwright bike FILE, a circuit with: cornerwright circuit FILE, a column map with: --map FILE")}
	case kind == "json":
		return nil, &Error{File: name, Line: 1, Column: 1, Text: say.T("this is no recording: a JSON document"), Source: firstLine(sample), Mend: say.T("export it as delimited text, a CAN log, NMEA, GPX or Parquet")}
	case kind == "can":
		srcs, err = readCAN(name, text, size, opts)
	case kind == "nmea":
		srcs, err = readNMEA(name, text, size, opts)
	case kind == "gpx":
		srcs, err = readGPX(name, text, size, opts)
	default:
		var s *source
		s, err = readText(name, text, size, opts)
		srcs = []*source{s}
		if err == nil && enc != "" {
			s.problem(recording.Note, 0, 0, "", say.T("the text is {enc}", enc), say.T("nothing to do"))
		}
	}
	if err != nil {
		return nil, err
	}
	return finish(srcs, opts)
}

// finish builds the recordings of the sources.
func finish(srcs []*source, opts Options) (*Result, error) {
	res := &Result{}
	for _, s := range srcs {
		rec, e := s.build(opts)
		if e != nil {
			return nil, e
		}
		res.Recordings = append(res.Recordings, rec)
		res.sources = append(res.sources, s)
		res.Problems = append(res.Problems, rec.Problems...)
		res.Rows += rec.Rows
		res.LostRows += s.lostRows
		res.LostBytes += s.lostBytes
		if res.Format == "" {
			res.Format = s.format
			res.Columns = s.infos()
			rate := 0.0
			if s.clock == nil {
				rate = s.rate
			}
			res.Map = writeMap(res.Columns, rate, opts.Map)
		}
	}
	return res, nil
}
