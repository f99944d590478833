//go:build !linux

package main

import (
	"context"
	"errors"
)

func pictures(context.Context, []string) error {
	return errors.New("the pictures are taken on a display of Linux: run it there")
}
