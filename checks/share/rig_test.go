//go:build linux && !rig

package share

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// The exports and mounts of the rig that the tests of guest_test.go and guestcut_test.go expect.
var (
	rigExports = []string{
		"main:200M:ext4:rw,no_root_squash",
		"rox:32M:ext4:ro,no_root_squash",
		"squash:64M:ext4:rw,root_squash",
		"fat:40M:vfat:rw,no_root_squash",
		"quota3:40M:quota:rw,root_squash",
		"quota42:40M:quota:rw,root_squash",
		"tiny:16M:ext4:rw,no_root_squash:256k",
		"stale:16M:ext4:rw,no_root_squash",
	}
	rigMounts = []string{
		"/mnt/v3:main:vers=3", "/mnt/v42:main:vers=4.2", "/mnt/soft3:main:vers=3,soft,timeo=10,retrans=1",
		"/mnt/ro:main:vers=3,ro", "/mnt/rox3:rox:vers=3", "/mnt/rox42:rox:vers=4.2",
		"/mnt/squash3:squash:vers=3", "/mnt/squash42:squash:vers=4.2", "/mnt/fat:fat:vers=3",
		"/mnt/quota3:quota3:vers=3", "/mnt/quota42:quota42:vers=4.2",
		"/mnt/tiny3:tiny:vers=3", "/mnt/tiny42:tiny:vers=4.2", "/mnt/stale3:stale:vers=3",
	}
)

// TestInTheRig builds the tests of this package anew, without the race detector, which the rig's
// kernel cannot run, and runs them with a real NFS server and client.
func TestInTheRig(t *testing.T) {
	if os.Getuid() != 0 {
		t.Fatal("the tests with a real NFS server and client need root: they boot a kernel in namespaces of its own")
	}
	rig, err := filepath.Abs("../../testdata/nfsrig/rig")
	if err != nil {
		t.Fatal(err)
	}
	dir, err := os.MkdirTemp("", "share-rig-")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.RemoveAll(dir) })
	if err := os.Chmod(dir, 0o755); err != nil { // an ordinary user runs the tests, too
		t.Fatal(err)
	}
	binary := filepath.Join(dir, "share.test")
	build := exec.Command("go", "test", "-c", "-race=false", "-tags", "rig", "-o", binary, ".")
	build.Env = append(os.Environ(), "CGO_ENABLED=0")
	if out, err := build.CombinedOutput(); err != nil {
		t.Fatalf("building the tests for the rig: %v\n%s", err, out)
	}
	// Boots side by side: they spend most of their time waiting for a server that was cut off. The
	// timeout is for machines that do much else.
	for _, part := range []string{"^TestGuest", "^TestCutBefore|^TestCutEnds|^TestCutSoft|^TestKilled", "^TestCutDuring"} {
		t.Run(strings.Trim(strings.ReplaceAll(part, "|^", "+"), "^"), func(t *testing.T) {
			t.Parallel()
			list, err := exec.Command(binary, "-test.list", part).Output()
			if err != nil {
				t.Fatal(err)
			}
			wanted := strings.Fields(string(list))
			if len(wanted) == 0 {
				t.Fatalf("no tests match %s", part)
			}
			args := []string{"--timeout", "400", "--mem", "512M"}
			for _, e := range rigExports {
				args = append(args, "--export", e)
			}
			for _, m := range rigMounts {
				args = append(args, "--mount", m)
			}
			args = append(args, "--", binary, "-test.v", "-test.run", part)
			run := exec.CommandContext(t.Context(), rig, args...)
			run.Env = append(os.Environ(), "TMPDIR="+dir)
			out, err := run.CombinedOutput()
			if err != nil {
				t.Fatalf("%v\n%s", err, out)
			}
			for _, name := range wanted {
				if !bytes.Contains(out, []byte("--- PASS: "+name+" ")) {
					t.Errorf("%s did not run and pass in the rig:\n%s", name, out)
				}
			}
		})
	}
}
