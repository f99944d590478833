//go:build linux && !rig

package disk

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"loadline/checks/internal/fixture"
)

// TestInTheRig runs the tests of the build tag rig in the guest of testdata/nfsrig, whose kernel has a
// server and client of NFS, FAT, and disks that fail at will. It needs root.
func TestInTheRig(t *testing.T) {
	if os.Getuid() != 0 {
		t.Fatal("this test boots a kernel in namespaces of its own, so it must run as root")
	}
	rig, err := filepath.Abs("../../../testdata/nfsrig/rig")
	fixture.Must(t, err)
	dir, err := os.MkdirTemp("", "loadline-rig-") // its name stays short: sockets are made in it
	fixture.Must(t, err)
	t.Cleanup(func() { os.RemoveAll(dir) })
	fixture.Must(t, os.Chmod(dir, 0o755))
	binary := filepath.Join(dir, "package.test")
	// Without the race detector, whose address space is larger than the guest's.
	build := exec.Command("go", "test", "-c", "-race=false", "-tags", "rig", "-o", binary, ".")
	build.Env = append(os.Environ(), "CGO_ENABLED=0")
	if out, err := build.CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	const options = "rsize=1048576,wsize=1048576,proto=tcp,hard,"
	run := exec.CommandContext(t.Context(), rig, "--timeout", "120", "--mem", "512M",
		"--export", "main:64m:ext4:rw,no_root_squash",
		"--mount", "/mnt/v3:main:"+options+"vers=3",
		"--mount", "/mnt/v42:main:"+options+"vers=4.2",
		"--", binary, "-test.v", "-test.run", "^TestGuest")
	run.Env = append(os.Environ(), "TMPDIR="+dir)
	out, err := run.CombinedOutput()
	t.Logf("%s", out)
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"TestGuestNFS", "TestGuestFAT", "TestGuestBadSectors"} {
		if !bytes.Contains(out, []byte("--- PASS: "+name+" ")) {
			t.Errorf("%s did not run and pass", name)
		}
	}
}
