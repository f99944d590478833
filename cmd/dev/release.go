package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
)

// releaseTag is the build tag of the tests of what is released.
const releaseTag = "release"

// packagesFolder takes the packages that the later steps look at.
const packagesFolder = "bin/packages"

// releaseSteps are the second set: what is handed on, and other systems. They take long and install much,
// so test alone leaves them out.
var releaseSteps = []step{
	{"workflows", "The workflows are sound (actionlint)", nil, func(ctx context.Context) error {
		files, err := filepath.Glob(".github/workflows/*.yml")
		if err != nil || len(files) == 0 {
			return fmt.Errorf("no workflow to look at (%v)", err)
		}
		return run(ctx, "go", houseTool("actionlint", files...)...)
	}},
	{"vulnerable", "No known vulnerability but those accepted (govulncheck)", []need{needWindow}, vulnerable},
	{"cross", "The command builds everywhere without cgo", nil, cross},
	{"systems", "The window is vetted for macOS and Windows", nil, vetSystems},
	{"packages", "Packages", []need{needWindow, needPackages}, func(ctx context.Context) error {
		if err := os.RemoveAll(packagesFolder); err != nil {
			return err
		}
		return packClone(ctx, packagesFolder, nil)
	}},
	{"again", "Packages, made anew elsewhere, are the same", []need{needWindow, needPackages}, packAgain},
	{"lint", "Packages pass the checkers of their systems", []need{needRelease}, releaseTest("Lint")},
	{"debian", "Installed into a bare Debian, used, removed", []need{needRelease}, releaseTest("Debian")},
	{"wine", "Command and window for Windows, under Wine", []need{needPackages, needRelease}, releaseTest("Wine")},
	{"wayland", "The window on Wayland", []need{needWindow, needWayland, needRelease}, func(ctx context.Context) error {
		if err := run(ctx, "go", "build", "-tags", windowTags+",wayland", "-o", "bin/loadline-wayland", "./cmd/loadline"); err != nil {
			return err
		}
		return releaseTest("Wayland")(ctx)
	}},
}

// releaseTest runs one test of cmd/dev/release over the packages.
func releaseTest(name string) func(context.Context) error {
	return func(ctx context.Context) error {
		if _, err := os.Stat(packagesFolder); err != nil {
			return fmt.Errorf("no packages to look at; run the step packages first: %w", err)
		}
		return run(ctx, "go", "test", "-tags", releaseTag, "-count=1", "-v", "-timeout", "20m", "-run", "^Test"+name, "./cmd/dev/release")
	}
}

// cross builds the command for every system and processor it is meant for.
func cross(ctx context.Context) error {
	var errs []error
	for _, system := range []string{"linux", "darwin", "windows"} {
		for _, arch := range []string{"amd64", "arm64"} {
			errs = append(errs, runEnv(ctx, []string{"CGO_ENABLED=0", "GOOS=" + system, "GOARCH=" + arch},
				"go", "build", "-o", os.DevNull, "./cmd/loadline-cli"))
		}
	}
	return errors.Join(errs...)
}

// packClone makes packages from a clone of the last commit, with the command that a person would type.
func packClone(ctx context.Context, out string, env []string) error {
	out, err := filepath.Abs(out)
	if err != nil {
		return err
	}
	work, err := os.MkdirTemp("", "loadline-clone-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(work)
	clone := filepath.Join(work, "clone")
	if err := run(ctx, "git", "clone", "--quiet", "--no-hardlinks", ".", clone); err != nil {
		return err
	}
	// The umask of the person who packs must not count either.
	return runEnv(ctx, env, "sh", "-c", `umask "${PACK_UMASK:-022}" && cd "$1" && exec go run ./cmd/dev package -o "$2"`, "sh", clone, out)
}

// packAgain makes the packages a second time, in another folder, with a cache of its own, so that all is
// compiled again, and with settings that must not count. The second cache stays for the next time: what
// has changed since is compiled again all the same.
func packAgain(ctx context.Context) error {
	cache, err := os.UserCacheDir()
	if err != nil {
		return err
	}
	out, err := os.MkdirTemp("", "loadline-again-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(out)
	if err := packClone(ctx, out, []string{
		"GOCACHE=" + filepath.Join(cache, "loadline-second-build"), "TZ=Pacific/Kiritimati", "LC_ALL=C", "PACK_UMASK=077",
	}); err != nil {
		return err
	}
	return sameSums(packagesFolder, out)
}

// sameSums compares the checksums of two folders of packages, file by file.
func sameSums(one, two string) error {
	var lists [2][]string
	for i, dir := range []string{one, two} {
		b, err := os.ReadFile(filepath.Join(dir, "SHA256SUMS"))
		if err != nil {
			return err
		}
		lists[i] = strings.Split(strings.TrimSpace(string(b)), "\n")
	}
	var errs []error
	for _, l := range lists[0] {
		if !slices.Contains(lists[1], l) {
			errs = append(errs, fmt.Errorf("made twice, not the same: %s", l))
		}
	}
	if len(errs) == 0 && len(lists[0]) != len(lists[1]) {
		errs = append(errs, fmt.Errorf("%d files the first time, %d the second", len(lists[0]), len(lists[1])))
	}
	if len(errs) == 0 {
		fmt.Printf("%d files, the same bytes twice.\n", len(lists[0]))
	}
	return errors.Join(errs...)
}

// vetSystems vets the window for systems whose headers are not here. With the tag "ci" the toolkit takes
// its driver for tests, which needs no cgo; two functions of it for macOS do and are replaced in a copy.
// The window for Windows is compiled whole by the step packages.
func vetSystems(ctx context.Context) error {
	if err := run(ctx, "go", "mod", "download", fyne); err != nil {
		return err
	}
	dir, err := output(ctx, "go", "list", "-m", "-f", "{{.Dir}}", fyne)
	if err != nil {
		return err
	}
	work, err := os.MkdirTemp("", "loadline-fyne-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(work)
	toolkit := filepath.Join(work, "fyne")
	if err := os.CopyFS(toolkit, os.DirFS(dir)); err != nil {
		return err
	}
	for place, stub := range map[string]string{
		"internal/widget": "package widget\n\nfunc isScrollerPageOnTap() bool { return false }\n",
		"internal/app": "package app\n\nimport \"fyne.io/fyne/v2\"\n\n" +
			"func DefaultVariant() fyne.ThemeVariant { return 0 }\n",
	} {
		file := filepath.Join(toolkit, filepath.FromSlash(place), "without_cgo.go")
		if err := os.WriteFile(file, []byte("//go:build darwin && !cgo\n\n"+stub), 0o644); err != nil {
			return err
		}
	}
	for _, name := range []string{"go.mod", "go.sum"} {
		b, err := os.ReadFile(name)
		if err != nil {
			return err
		}
		if err := os.WriteFile(filepath.Join(work, name), b, 0o644); err != nil {
			return err
		}
	}
	mod := filepath.Join(work, "go.mod")
	if err := run(ctx, "go", "mod", "edit", "-replace", fyne+"="+toolkit, mod); err != nil {
		return err
	}
	var errs []error
	for _, system := range []string{"darwin", "windows"} {
		// -trimpath: the folder of the copy must not make the cache useless.
		errs = append(errs, runEnv(ctx, []string{"GOOS=" + system, "GOARCH=amd64", "CGO_ENABLED=0", "GOFLAGS=-trimpath"},
			"go", "vet", "-modfile="+mod, "-tags", "ci,"+windowTags, "./gui/...", "./cmd/loadline/..."))
	}
	return errors.Join(errs...)
}
