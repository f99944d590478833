package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"strings"

	"loadline/cmd/dev/pack"
)

// makePackages installs what is needed and makes the packages.
func makePackages(ctx context.Context, args []string) error {
	flags := flag.NewFlagSet("package", flag.ContinueOnError)
	out := flags.String("o", "", "make them in `DIR`, which is new or empty")
	if err := flags.Parse(args); err != nil {
		return err
	}
	if flags.NArg() > 0 || *out == "" {
		return errors.New("package takes no arguments, but it must be told where: package -o DIR")
	}
	if err := install(ctx, needWindow, needPackages); err != nil {
		return err
	}
	dir, err := filepath.Abs(*out)
	if err != nil {
		return err
	}
	p := &pack.Packer{Out: dir, Say: os.Stdout, System: runtime.GOOS, Run: runEnv, Tool: func(ctx context.Context, env []string, tool string, args ...string) error {
		return runEnv(ctx, env, "go", houseTool(tool, args...)...)
	}}
	return p.Make(ctx)
}

// runEnv is run with more in the environment.
func runEnv(ctx context.Context, env []string, name string, args ...string) error {
	fmt.Println("+", strings.Join(append(env, line(name, args)), " "))
	cmd := command(ctx, name, args...)
	cmd.Stdin = nil
	cmd.Env = append(os.Environ(), env...)
	defer ownGroup(cmd)()
	return failed(cmd.Run(), name, args)
}
