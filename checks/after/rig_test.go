//go:build linux && !rig

package after

import (
	"testing"

	"loadline/checks/internal/guest"
)

// TestInTheRig runs the tests of the build tag rig with a real NFS server and client; see
// testdata/nfsrig/rig. It needs root.
func TestInTheRig(t *testing.T) {
	const options = "rsize=1048576,wsize=1048576,proto=tcp,"
	guest.Build(t).Run(t, "^TestGuest", "--timeout", "240", "--mem", "1G",
		"--export", "main:300m:ext4:rw,no_root_squash",
		"--export", "tiny:16m:ext4:rw,no_root_squash:2m",
		"--mount", "/mnt/v3:main:"+options+"vers=3,hard",
		"--mount", "/mnt/v42:main:"+options+"vers=4.2,hard",
		"--mount", "/mnt/tiny3:tiny:"+options+"vers=3,hard",
		"--mount", "/mnt/tiny42:tiny:"+options+"vers=4.2,hard")
}
