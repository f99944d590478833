//go:build linux && !rig

package share

import (
	"strings"
	"testing"

	"loadline/checks/internal/guest"
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

// TestInTheRig runs the tests of the build tag rig with a real NFS server and client.
func TestInTheRig(t *testing.T) {
	tests := guest.Build(t)
	options := []string{"--mem", "512M"}
	for _, e := range rigExports {
		options = append(options, "--export", e)
	}
	for _, m := range rigMounts {
		options = append(options, "--mount", m)
	}
	// Boots side by side: they spend most of their time waiting for a server that was cut off. The
	// timeout is for machines that do much else.
	for _, part := range []string{"^TestGuest", "^TestCutBefore|^TestCutEnds|^TestCutSoft|^TestKilled", "^TestCutDuring"} {
		t.Run(strings.Trim(strings.ReplaceAll(part, "|^", "+"), "^"), func(t *testing.T) {
			t.Parallel()
			tests.Run(t, part, append(options[:len(options):len(options)], "--timeout", "400")...)
		})
	}
}
