package main

import (
	"context"
	"errors"
	"fmt"
	"io"

	"loadline/checks/names"
	"loadline/checks/share"
)

// platforms are the values of -system.
var platforms = map[string]share.Platform{"linux": share.Linux, "macos": share.MacOS, "windows": share.Windows}

// runMount prints the command that mounts a share so that a long copy can rely on it. Nothing is run or looked up.
func runMount(_ context.Context, args []string, stdout, stderr io.Writer) error {
	fs := newFlags("mount", "SERVER:/EXPORT FOLDER", stderr)
	on := share.ThisPlatform()
	fs.Func("system", "print the command of `SYSTEM`: linux, macos or windows (default: this one)", func(s string) error {
		p, ok := platforms[s]
		if !ok {
			return errors.New("write linux, macos or windows")
		}
		on = p
		return nil
	})
	rest, err := parseCount(fs, args, 2, 2)
	if err != nil {
		return err
	}
	server, export, err := share.SplitExport(rest[0])
	if err != nil {
		return err
	}
	c, err := share.MountWith(on, server, export, rest[1])
	if err != nil {
		return err
	}
	if text := c.Line; names.Quote(text) != text {
		return fmt.Errorf("%s or %s contains characters that cannot be shown as they are", names.Quote(rest[0]), names.Quote(rest[1]))
	}
	_, err = io.WriteString(stdout, c.String())
	return err
}
