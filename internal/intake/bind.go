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
