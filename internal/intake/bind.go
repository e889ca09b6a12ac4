package intake

import (
	"archive/zip"
	"io"
)

// Part is one file of a package.
type Part struct {
	Name string
	Data io.Reader
}

// IsDatabase tells whether a file that begins so is a signal database (DBC).
func IsDatabase(head []byte) bool { return looksDBC(head) }

// IsBusLog tells whether a file that begins so is a log of a bus, which needs a
// signal database to be read.
func IsBusLog(head []byte) bool { return kindOfText(head) == "can" }

// Bind packs a bus log with the signal database that tells what it means, so
// that both can be kept, bit for bit, as one original. The same parts give the
// same package: no times are kept in it.
func Bind(to io.Writer, parts ...Part) error {
	z := zip.NewWriter(to)
	for _, p := range parts {
		w, err := z.CreateHeader(&zip.FileHeader{Name: p.Name, Method: zip.Deflate})
		if err == nil {
			_, err = io.Copy(w, p.Data)
		}
		if err != nil {
			return err
		}
	}
	return z.Close()
}
