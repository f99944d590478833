package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"

	"loadline/cmd/loadline/display"
)

// start opens the window on the demo, or runs the command on it where no window can open.
func start(ctx context.Context, args []string) error {
	if why := display.Missing(runtime.GOOS, os.Getenv); why != "" {
		fmt.Println(why)
		fmt.Println("So here is the same demo as the command reports it.")
		return demoReport(ctx, args)
	}
	if err := install(ctx, needWindow); err != nil {
		return err
	}
	program, err := buildWindow(ctx)
	if err != nil {
		return err
	}
	return run(ctx, program, append([]string{"-demo"}, args...)...)
}

// buildWindow builds the window and returns its path. The file stays, so that the next start need
// not link it again.
func buildWindow(ctx context.Context) (string, error) {
	program := filepath.Join("bin", "loadline"+exe())
	fmt.Fprintln(speaker(ctx), "Building the window. The first time this takes a few minutes.")
	if err := run(ctx, "go", "build", "-tags", windowTags, "-o", program, "./cmd/loadline"); err != nil {
		return "", err
	}
	return filepath.Abs(program)
}

// demoReport runs the command on the demo. A demo has files to flag, so that the command's status
// is 1: that is no failure of ours.
func demoReport(ctx context.Context, args []string) error {
	program := filepath.Join("bin", "loadline-cli"+exe())
	if err := buildCommand(ctx, program); err != nil {
		return err
	}
	err := run(ctx, program, append([]string{"before", "-demo"}, args...)...)
	if exit := new(exec.ExitError); errors.As(err, &exit) && exit.ExitCode() == 1 {
		return nil
	}
	return err
}

// buildCommand builds the command, without cgo.
func buildCommand(ctx context.Context, program string, flags ...string) error {
	args := slices.Concat([]string{"build"}, flags, []string{"-o", program, "./cmd/loadline-cli"})
	return runEnv(ctx, []string{"CGO_ENABLED=0"}, "go", args...)
}

func exe() string {
	if runtime.GOOS == "windows" {
		return ".exe"
	}
	return ""
}
