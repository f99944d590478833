package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"runtime"

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
	p := &pack.Packer{Out: dir, Say: os.Stdout, System: runtime.GOOS, Run: runEnv, Tool: runTool, Ask: output}
	return p.Make(ctx)
}

// runTool builds a pinned tool for this machine and then runs it with more in the environment, which may
// speak of another one.
func runTool(ctx context.Context, env []string, tool string, args ...string) error {
	path, err := output(ctx, "go", houseTool("-n", tool)...)
	if err != nil {
		return fmt.Errorf("cannot build %s: %w", tool, err)
	}
	return runEnv(ctx, env, path, args...)
}
