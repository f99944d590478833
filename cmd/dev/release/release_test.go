//go:build release

package release

import (
	"bytes"
	"context"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"loadline/checks"
)

// folder is where the packages lie.
const folder = "../../../bin/packages"

// pkg is the absolute path of a package, whose name holds VERSION for the version.
func pkg(t testing.TB, name string) string {
	t.Helper()
	path, err := filepath.Abs(filepath.Join(folder, strings.ReplaceAll(name, "VERSION", checks.Version)))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := os.Stat(path); err != nil {
		t.Fatalf("%v; go run ./cmd/dev test -release -only packages makes it", err)
	}
	return path
}

// The packages that people know by their names.
const (
	deb       = "loadline_VERSION_amd64.deb"
	rpm       = "loadline-VERSION-1.x86_64.rpm"
	linuxTar  = "loadline-VERSION-linux-amd64.tar.gz"
	armTar    = "loadline-cli-VERSION-linux-arm64.tar.gz"
	winZip    = "loadline-VERSION-windows-amd64.zip"
	macTarARM = "loadline-cli-VERSION-macos-arm64.tar.gz"
	macTarX86 = "loadline-cli-VERSION-macos-amd64.tar.gz"
)

// must runs a program and returns all that it says; it must end well.
func must(t testing.TB, name string, args ...string) string {
	t.Helper()
	out, err := try(t, nil, name, args...)
	if err != nil {
		t.Fatalf("%s %s: %v\n%s", name, strings.Join(args, " "), err, out)
	}
	return out
}

// longest is when a program is taken for one that hangs: no verdict hangs on it while all goes well.
const longest = 10 * time.Minute

func try(t testing.TB, env []string, name string, args ...string) (string, error) {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), longest)
	defer cancel()
	cmd := exec.CommandContext(ctx, name, args...)
	cmd.Env = append(os.Environ(), env...)
	cmd.WaitDelay = 10 * time.Second
	var out bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &out
	err := cmd.Run()
	return out.String(), err
}

// stdout runs a program and returns its standard output and exit status.
func stdout(t testing.TB, env []string, name string, args ...string) (string, int) {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), longest)
	defer cancel()
	cmd := exec.CommandContext(ctx, name, args...)
	cmd.Env = append(os.Environ(), env...)
	var complaints bytes.Buffer
	cmd.Stderr = &complaints
	out, err := cmd.Output()
	if cmd.ProcessState == nil {
		t.Fatalf("%s: %v", name, err)
	}
	if complaints.Len() > 0 {
		t.Logf("%s said: %.2000s", filepath.Base(name), complaints.String())
	}
	return string(out), cmd.ProcessState.ExitCode()
}
