package pack

import (
	"context"
	"debug/buildinfo"
	"debug/elf"
	"fmt"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
)

// A target is one program for one system.
type target struct {
	system, arch string
	window       bool
}

func (t target) String() string {
	name := command
	if t.window {
		name = program
	}
	return fmt.Sprintf("%s for %s/%s", name, t.system, t.arch)
}

// build builds a target and returns where it lies.
func (p *Packer) build(ctx context.Context, t target) (string, error) {
	fmt.Fprintf(p.Say, "Building %s.\n", t)
	out := filepath.Join(p.work, "built", t.system+"-"+t.arch, command)
	env := []string{
		"GOOS=" + t.system, "GOARCH=" + t.arch, "CGO_ENABLED=0",
		// Settings of the person who packs must not count.
		"GOFLAGS=-trimpath", "GOAMD64=v1", "GOARM64=v8.0", "GOEXPERIMENT=", "GODEBUG=",
		"CGO_CFLAGS=", "CGO_CPPFLAGS=", "CGO_LDFLAGS=", "CGO_CXXFLAGS=",
	}
	link := "-s -w" // no tables for debuggers: half the size
	args := []string{"build", "-buildvcs=true"}
	if t.window {
		out = filepath.Join(filepath.Dir(out), program)
		env = append(env, "CGO_ENABLED=1")
		args = append(args, "-tags", WindowTags)
		switch t.system {
		case "windows":
			env = append(env, "CC=x86_64-w64-mingw32-gcc")
			link += " -H windowsgui" // no console beside the window
		case "darwin":
			env = append(env, "CGO_CFLAGS=-mmacosx-version-min="+macOldest, "CGO_LDFLAGS=-mmacosx-version-min="+macOldest)
		}
	}
	if t.system == "windows" {
		out += ".exe"
	}
	args = append(args, "-ldflags", link, "-o", out, "./cmd/"+strings.TrimSuffix(filepath.Base(out), ".exe"))
	if err := p.Run(ctx, env, "go", args...); err != nil {
		return "", err
	}
	return out, p.checkStamp(ctx, out)
}

// checkStamp sees that a program names the commit that it was built from.
func (p *Packer) checkStamp(ctx context.Context, file string) error {
	info, err := buildinfo.ReadFile(file)
	if err != nil {
		return err
	}
	commit, err := p.Ask(ctx, "git", "rev-parse", "HEAD")
	if err != nil {
		return err
	}
	stamped := ""
	for _, s := range info.Settings {
		if s.Key == "vcs.revision" {
			stamped = s.Value
		}
	}
	switch stamped {
	case commit:
		return nil
	case "":
		return fmt.Errorf("%s does not know its commit: the go command stamps it in a clone only, not in a linked worktree; clone and pack there", file)
	}
	return fmt.Errorf("%s says that it is of commit %s, the clone is at %s", file, stamped, commit)
}

// libraries are what the window links to on Linux, and the package of Debian with each.
var libraries = map[string]string{
	"libc.so.6": "libc6", "libm.so.6": "libc6", "libdl.so.2": "libc6", "libpthread.so.0": "libc6", "libresolv.so.2": "libc6",
	"libGL.so.1": "libgl1", "libX11.so.6": "libx11-6", "libXcursor.so.1": "libxcursor1", "libXrandr.so.2": "libxrandr2",
	"libXinerama.so.1": "libxinerama1", "libXi.so.6": "libxi6", "libXxf86vm.so.1": "libxxf86vm1", "librt.so.1": "libc6",
}

// opened are the libraries that the toolkit's window library opens by name while it runs (GLFW,
// x11_init.c), which no linker table holds.
var opened = []string{"libX11.so.6", "libXcursor.so.1", "libXrandr.so.2", "libXinerama.so.1", "libXi.so.6", "libXxf86vm.so.1", "libGL.so.1"}

// linked tells what a program for Linux needs: the packages of Debian, with the version of libc that
// the symbols ask for, and the same in the words of RPM.
func linked(file string) (debian, rpm []string, err error) {
	f, err := elf.Open(file)
	if err != nil {
		return nil, nil, err
	}
	defer f.Close()
	names, err := f.ImportedLibraries()
	if err != nil {
		return nil, nil, err
	}
	symbols, err := f.ImportedSymbols()
	if err != nil {
		return nil, nil, err
	}
	return needs(names, symbols)
}

func needs(names []string, symbols []elf.ImportedSymbol) (debian, rpm []string, err error) {
	libc := ""
	for _, s := range symbols {
		if v, ok := strings.CutPrefix(s.Version, "GLIBC_"); ok && compareDots(v, libc) > 0 {
			libc = v
		}
	}
	for _, n := range slices.Concat(names, opened) {
		pkg, ok := libraries[n]
		if !ok {
			return nil, nil, fmt.Errorf("the window links to %s, and no package is known that brings it: name it in the table libraries", n)
		}
		suffix := "()(64bit)"
		if pkg == "libc6" {
			pkg = "libc6 (>= " + libc + ")"
			suffix = "(GLIBC_" + libc + ")(64bit)"
			if n != "libc.so.6" {
				suffix = "()(64bit)"
			}
		}
		debian = append(debian, pkg)
		rpm = append(rpm, n+suffix)
	}
	slices.Sort(debian)
	slices.Sort(rpm)
	return slices.Compact(debian), slices.Compact(rpm), nil
}

// compareDots compares versions of numbers with dots between; "" is less than any.
func compareDots(a, b string) int {
	numbers := func(s string) (all []int) {
		for _, f := range strings.Split(s, ".") {
			n, err := strconv.Atoi(f)
			if err != nil {
				break
			}
			all = append(all, n)
		}
		return all
	}
	return slices.Compare(numbers(a), numbers(b))
}
