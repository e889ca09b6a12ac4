package main

import (
	"context"
	"errors"

	"cornerwright/internal/book"
)

func serveCommands() []*command { return nil }

func (a *app) serve(ctx context.Context, b *book.Book, listen string, share, tls bool) error {
	return errors.New("no page")
}
