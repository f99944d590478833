//go:build !linux

package main

import (
	"context"
	"errors"
)

func bench(context.Context, []string) error {
	return errors.New("the benchmark compares with GNU find and a floor program for Linux: run it there")
}
