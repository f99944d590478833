// Package guest runs tests of a package in the guest of testdata/nfsrig, whose kernel has what this
// machine's may lack: an NFS server and client, and file systems such as HFS+. It is for tests only.
package guest

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// Tests are the tests of one package with the build tag rig, built for the guest.
type Tests struct {
	// Dir is a folder that every user of the guest can read. The test binary is in it, and it is
	// the TMPDIR of the guest's boot.
	Dir    string
	binary string
	rig    string
}

// Build builds the tests of the package in the working folder, without the race detector, whose
// address space is larger than the guest's. What is built goes with the test.
func Build(t *testing.T) *Tests {
	t.Helper()
	if os.Getuid() != 0 {
		t.Fatal("these tests boot a kernel in namespaces of its own, so they must run as root")
	}
	rig, err := filepath.Abs("../../testdata/nfsrig/rig")
	if err != nil {
		t.Fatal(err)
	}
	dir, err := os.MkdirTemp("", "loadline-rig-")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.RemoveAll(dir) })
	if err := os.Chmod(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	b := &Tests{Dir: dir, binary: filepath.Join(dir, "package.test"), rig: rig}
	b.command(t, "test", "-c", "-race=false", "-tags", "rig", "-o", b.binary, ".")
	return b
}

// Command builds a program of ours for the guest and returns its path there.
func (b *Tests) Command(t *testing.T, pkg string) string {
	t.Helper()
	path := filepath.Join(b.Dir, filepath.Base(pkg))
	b.command(t, "build", "-o", path, pkg)
	return path
}

func (b *Tests) command(t *testing.T, args ...string) {
	t.Helper()
	build := exec.Command("go", args...)
	build.Env = append(os.Environ(), "CGO_ENABLED=0")
	if out, err := build.CombinedOutput(); err != nil {
		t.Fatalf("building for the guest: go %s: %v\n%s", strings.Join(args, " "), err, out)
	}
}

// Run boots the guest with the rig's options, runs the tests that match a pattern in it, and fails
// unless there are some and every one ran and passed. It waits for all of it.
func (b *Tests) Run(t *testing.T, pattern string, options ...string) {
	t.Helper()
	if out, err := b.run(t, pattern, options); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
}

func (b *Tests) run(t *testing.T, pattern string, options []string) (out []byte, err error) {
	t.Helper()
	list, err := exec.Command(b.binary, "-test.list", pattern).Output()
	if err != nil {
		return nil, err
	}
	wanted := strings.Fields(string(list))
	if len(wanted) == 0 {
		return nil, fmt.Errorf("no tests match %s", pattern)
	}
	args := append(append([]string{}, options...), "--", b.binary, "-test.v", "-test.run", pattern)
	run := exec.CommandContext(t.Context(), b.rig, args...)
	run.Env = append(os.Environ(), "TMPDIR="+b.Dir)
	if out, err = run.CombinedOutput(); err != nil {
		return out, err
	}
	t.Logf("%s", out)
	for _, name := range wanted {
		if !bytes.Contains(out, []byte("--- PASS: "+name+" ")) {
			err = errors.Join(err, fmt.Errorf("%s did not run and pass in the rig", name))
		}
	}
	return out, err
}
