//go:build linux && !rig

package fix

import (
	"testing"

	"loadline/checks/internal/guest"
)

// TestInTheRig runs the tests of the build tag rig in the guest of testdata/nfsrig, whose kernel can
// mount HFS+. It needs root.
func TestInTheRig(t *testing.T) {
	tests := guest.Build(t)
	tests.Command(t, "../../cmd/loadline-cli")
	tests.Run(t, "^TestGuest", "--timeout", "240")
}
