//go:build !linux

package browser

import "errors"

func mountSmall(string, int) (func() error, error) { return nil, errors.New("not on this system") }
