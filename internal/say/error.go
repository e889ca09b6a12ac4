package say

import "errors"

// Speaker is a value that knows its own text: errors of this package, and those
// of others that carry one.
type Speaker interface{ Said() Text }

// fault is an error whose text can be said in another language.
type fault struct {
	text Text
	why  []error // those among its values
}

// Error makes an error of a text of the catalogue, as T makes a sentence. An
// error among the values is wrapped, and said within the text.
func Error(key string, values ...any) error {
	f := &fault{text: T(key, values...)}
	for _, v := range values {
		if err, ok := v.(error); ok {
			f.why = append(f.why, err)
		}
	}
	return f
}

// Error is the English sentence.
func (f *fault) Error() string { return f.text.String() }

// Said is the sentence with its values.
func (f *fault) Said() Text { return f.text }

func (f *fault) Unwrap() []error { return f.why }

// Of is what an error says: its own text where it carries one, otherwise its
// words as they are, which come from the system or from a foreign package.
func Of(err error) Text {
	if err == nil {
		return ""
	}
	if s, ok := err.(Speaker); ok {
		return s.Said()
	}
	// A wrapper that says nothing but what it wraps.
	if in := errors.Unwrap(err); in != nil && in.Error() == err.Error() {
		return Of(in)
	}
	if all, ok := err.(interface{ Unwrap() []error }); ok { // errors.Join
		var list []Text
		for _, e := range all.Unwrap() {
			list = append(list, Of(e))
		}
		if t := Join(list, "\n"); t.String() == err.Error() {
			return t
		}
	}
	return Plain(err.Error())
}
