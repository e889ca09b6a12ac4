package main

import (
	"context"
	"flag"
	"fmt"
	"io"
	"os"
	"strings"

	"cornerwright/internal/book"
	"cornerwright/internal/contract"
	"cornerwright/internal/intake"
)

func convertCommand() *command {
	return &command{name: "convert", args: "FILE", short: "copy a text table of any size to a Parquet file, as it stands", noBook: true,
		long: "Every column under its own name, in the file's own unit, to the last bit; nothing is interpreted and no book is needed. " +
			"Memory does not grow with the table. For channels in SI, add the file and export the run.",
		example: "cornerwright convert run1.csv --to run1.parquet",
		setup: func(a *app, f *flag.FlagSet) func(context.Context, []string) error {
			to := f.String("to", "", "`FILE.parquet` to write")
			return func(ctx context.Context, args []string) error {
				path, err := one(args, "file")
				if err != nil {
					return err
				}
				if !strings.HasSuffix(strings.ToLower(*to), ".parquet") {
					return usage(fmt.Sprintf("%q is no Parquet file", *to), "--to FILE.parquet")
				}
				in, err := os.Open(path)
				if err != nil {
					return &book.Error{Kind: book.ErrInvalid, File: path, Text: "the file cannot be read", Err: err, Mend: "check the name, and whether the stick is still in"}
				}
				defer in.Close()
				info, err := in.Stat()
				if err != nil || !info.Mode().IsRegular() {
					return &book.Error{Kind: book.ErrInvalid, File: path, Text: "this is no file", Err: err, Mend: "name a text table"}
				}
				bar := newBar(a.stderr, path)
				var got *intake.Imported
				err = writeFresh(*to, func(w io.Writer) error {
					out, ok := w.(*os.File)
					if !ok {
						return fmt.Errorf("no file to write to")
					}
					// A second pass, where a column's digits change, begins anew.
					create := func() (io.Writer, error) {
						if _, err := out.Seek(0, io.SeekStart); err != nil {
							return nil, err
						}
						return out, out.Truncate(0)
					}
					var err error
					got, err = intake.Import(path, in, info.Size(), create, intake.Options{Progress: func(p intake.Progress) {
						bar.set(fmt.Sprintf("%d rows", p.Rows), float64(p.Bytes)/float64(max(p.Total, 1)))
					}})
					return book.Invalid(err)
				})
				bar.done()
				if err != nil {
					return err
				}
				if a.json {
					return a.answer(contract.NewConverted(path, *to, got))
				}
				a.say("%s: %s, %s", *to, count(got.Rows, "row"), count(len(got.Columns), "column"))
				if got.LostRows > 0 {
					a.talk("%s could not be read and are left out: cornerwright check %s tells which", count(got.LostRows, "row"), path)
				}
				return nil
			}
		}}
}
