//go:build linux && !rig

package seal

import (
	"os"
	"os/exec"
	"path/filepath"
	"testing"
)

// TestInTheRig runs the tests of the build tag rig with a real NFS server and client; see
// testdata/nfsrig/rig. It needs root.
func TestInTheRig(t *testing.T) {
	rig, err := filepath.Abs("../../testdata/nfsrig/rig")
	must(t, err)
	binary := filepath.Join(t.TempDir(), "seal.test")
	// The guest's address space is too small for the race detector.
	build := exec.Command("go", "test", "-c", "-tags", "rig", "-o", binary, ".")
	build.Env = append(os.Environ(), "CGO_ENABLED=0")
	if out, err := build.CombinedOutput(); err != nil {
		t.Fatalf("go test -c: %v\n%s", err, out)
	}
	const options = "rsize=1048576,wsize=1048576,proto=tcp,"
	run := exec.Command(rig, "--timeout", "240", "--mem", "1G",
		"--export", "main:300m:ext4:rw,no_root_squash",
		"--export", "tiny:16m:ext4:rw,no_root_squash:2m",
		"--mount", "/mnt/v3:main:"+options+"vers=3,hard",
		"--mount", "/mnt/v42:main:"+options+"vers=4.2,hard",
		"--mount", "/mnt/tiny3:tiny:"+options+"vers=3,hard",
		"--mount", "/mnt/tiny42:tiny:"+options+"vers=4.2,hard",
		"--", binary, "-test.v", "-test.timeout", "200s", "-test.run", "^TestGuest")
	out, err := run.CombinedOutput()
	t.Logf("%s", out)
	if err != nil {
		t.Fatal(err)
	}
}
