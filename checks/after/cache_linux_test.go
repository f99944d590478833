package after

import (
	"path/filepath"
	"testing"

	"golang.org/x/sys/unix"

	"loadline/checks"
	"loadline/checks/internal/fixture"
)

// TestCacheNotPassed: what a program behind FUSE serves from a block device goes through a cache that nobody
// can see past (ntfs-3g(8)): the copy is compared, and that it may have come from memory is said.
func TestCacheNotPassed(t *testing.T) {
	if !fixture.Room(t) {
		return
	}
	device := fixture.Loop(t, fixture.Image(t, 64<<20, "mkfs.ntfs", "-q", "-F", "-f"))
	at := t.TempDir()
	fixture.Command(t, at, "ntfs-3g", device, at)
	t.Cleanup(func() { _ = unix.Unmount(at, 0) })
	p := archive(t)
	p.share = filepath.Join(at, "share")
	fixture.Command(t, at, "mkdir", p.share)
	p.copy(t)
	rep := p.must(t)
	r := rep.Result("content")
	if r.Rules["cache-not-passed"] != 1 || r.Status != checks.Warned {
		t.Errorf("%s: %v, %v", r.Status, r.Rules, r.Facts)
	}
}
