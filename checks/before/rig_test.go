//go:build linux && !rig

package before

import (
	"testing"

	"loadline/checks/internal/guest"
)

// TestInTheRig runs the tests of the build tag rig in the guest of testdata/nfsrig, whose kernel has disks that fail
// at will. It needs root.
func TestInTheRig(t *testing.T) {
	guest.Build(t).Run(t, "^TestGuest", "--timeout", "240", "--mem", "1G")
}
