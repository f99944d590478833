//go:build rig

package after

import (
	"crypto/rand"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"loadline/checks"
	"loadline/checks/internal/fixture"
)

// Tests that run in the rig, with a real NFS server and client: TestInTheRig boots it.

func rig(t testing.TB, args ...string) {
	t.Helper()
	if out, err := exec.Command("/run/rig/"+args[0], args[1:]...).CombinedOutput(); err != nil {
		t.Fatalf("rig %v: %v %s", args, err, out)
	}
}

// onMount is archive with a folder of its own on a real mount.
func onMount(t *testing.T, mount string) *pair {
	t.Helper()
	p := archive(t)
	p.share = mount
	p.prefix = "copy-" + filepath.Base(mount) + "-" + strings.ReplaceAll(t.Name(), "/", "-") + "/archive"
	dir := filepath.Dir(filepath.Join(mount, p.prefix))
	fixture.Must(t, os.MkdirAll(dir, 0o755))
	// Calls that hung may still hold files open, which the client then only renames to .nfsXXXX; all
	// of it goes with the guest.
	t.Cleanup(func() { _ = os.RemoveAll(dir) })
	return p
}

// real is check of the mount as it is: nothing stands in for it.
func (p *pair) real(t *testing.T, silence time.Duration, proven func(int64)) (*checks.Report, error) {
	t.Helper()
	job := p.job()
	job.StandIn = nil
	s := New(Options{State: p.state, Silence: silence})
	s.a.onProven = proven
	return s.Run(t.Context(), job, nil)
}

// cp -R and pax -rw over NFS make copies that pass, read from the server with O_DIRECT.
func TestGuestGoodCopies(t *testing.T) {
	for _, mount := range []string{"/mnt/v3", "/mnt/v42"} {
		for tool, args := range map[string][]string{"cp": {"-R"}, "pax": {"-rw"}} {
			t.Run(mount+" "+tool, func(t *testing.T) {
				p := onMount(t, mount)
				for _, c := range []byte("\x01\t\n\r\x7f\xff \\%*?\"-#") {
					for _, name := range []string{string([]byte{c}), "a" + string([]byte{c}) + "b"} {
						fixture.WriteFile(t, filepath.Join(p.source, "hostile", name), name)
					}
				}
				to := filepath.Dir(filepath.Join(mount, p.prefix))
				fixture.Command(t, filepath.Dir(p.source), tool, append(args, "archive", to)...)
				rep, err := p.real(t, time.Minute, nil)
				fixture.Must(t, err)
				if rep.Verdict != checks.Passed || rep.Manifest == "" {
					t.Fatalf("verdict %v, found %q", rep.Verdict, found(rep))
				}
				c := rep.Result("content")
				if n := c.Fact("share_past_cache_odirect").Value; n != rep.Totals.Files {
					t.Errorf("%v of %d files read with O_DIRECT", n, rep.Totals.Files)
				}
				fixture.Command(t, filepath.Join(mount, p.prefix), "sha256sum", "-c", "--strict", "--warn", rep.Manifest)
				if left, _ := filepath.Glob(filepath.Join(to, "loadline-*.sha256")); len(left) != 1 {
					t.Errorf("manifests on the share: %q", left)
				}
				// The second run knows everything, over the mount as well.
				again, err := p.real(t, time.Minute, nil)
				fixture.Must(t, err)
				if n := again.Result("content").Fact("share_known").Value; n != rep.Totals.Files {
					t.Errorf("second run knows %v files", n)
				}
			})
		}
	}
}

// Something of this computer is mounted inside the copy: what is there looks right and does not travel.
func TestGuestMountedInside(t *testing.T) {
	p := onMount(t, "/mnt/v3")
	to := filepath.Dir(filepath.Join(p.share, p.prefix))
	fixture.Command(t, filepath.Dir(p.source), "cp", "-R", "archive", to)
	inside := filepath.Join(p.share, p.prefix, "day1")
	fixture.Must(t, unix.Mount("memory", inside, "tmpfs", 0, ""))
	t.Cleanup(func() { _ = unix.Unmount(inside, unix.MNT_DETACH) })
	fixture.Command(t, filepath.Join(p.source, "day1"), "cp", "-R", ".", inside)
	rep, err := p.real(t, time.Minute, nil)
	fixture.Must(t, err)
	if got := found(rep); rep.Verdict != checks.Failed || rep.Manifest != "" || !slices.Equal(got, []string{"on-share no-copy "}) {
		t.Errorf("verdict %v, found %q, manifest %q", rep.Verdict, got, rep.Manifest)
	}
	fixture.Must(t, unix.Unmount(inside, 0))
	if rep, err = p.real(t, time.Minute, nil); err != nil || rep.Verdict != checks.Passed {
		t.Errorf("without it: %v, %v", rep, err)
	}
}

// A share that runs full in the middle of a file: write(2) goes well, the error comes with close(2)
// and is easily missed, and a version 3 client tells the full size afterwards (measured). The check
// finds it.
func TestGuestFull(t *testing.T) {
	for _, mount := range []string{"/mnt/tiny3", "/mnt/tiny42"} {
		t.Run(mount, func(t *testing.T) {
			p := onMount(t, mount)
			fixture.Must(t, os.RemoveAll(filepath.Join(p.source, "day1")))
			big := make([]byte, 6<<20)
			_, _ = rand.Read(big) // never fails
			fixture.WriteFile(t, filepath.Join(p.source, "big.mov"), string(big))
			to := filepath.Join(mount, p.prefix)
			for _, name := range []string{"notes.txt", "other.txt", "day2/never"} {
				b, err := os.ReadFile(filepath.Join(p.source, name))
				fixture.Must(t, err)
				fixture.WriteFile(t, filepath.Join(to, name), string(b))
			}
			f, err := os.Create(filepath.Join(to, "big.mov"))
			fixture.Must(t, err)
			_, written := f.Write(big)
			closed := f.Close()
			info, err := os.Stat(filepath.Join(to, "big.mov"))
			fixture.Must(t, err)
			t.Logf("write: %v, close: %v, stat: %d of %d bytes", written, closed, info.Size(), len(big))
			rep, err := p.real(t, time.Minute, nil)
			fixture.Must(t, err)
			if rep.Verdict != checks.Failed || rep.Manifest != "" {
				t.Errorf("verdict %v, manifest %q", rep.Verdict, rep.Manifest)
			}
			got := found(rep)
			t.Logf("found %q", got)
			for _, g := range got {
				// syncfs(2) tells of lost writes too.
				if !strings.HasSuffix(g, " big.mov") && g != "content flush-failed " {
					t.Errorf("found %q", g)
				}
			}
			if !strings.Contains(strings.Join(got, "\n"), " big.mov") {
				t.Errorf("found %q and not the file", got)
			}
		})
	}
}

// The server goes away while files are read: on a hard mount calls hang. The check is "Not checked",
// and goes on once the server is back, which may take the client a while (TCP's back-off).
func TestGuestCut(t *testing.T) {
	for _, mount := range []string{"/mnt/v3", "/mnt/v42"} {
		t.Run(mount, func(t *testing.T) {
			p := onMount(t, mount)
			for i := range 60 {
				fixture.WriteFile(t, filepath.Join(p.source, fmt.Sprintf("more/%02d.wav", i)), strings.Repeat(fmt.Sprint(i), 30_000))
			}
			fixture.Command(t, filepath.Dir(p.source), "cp", "-R", "archive", filepath.Dir(filepath.Join(mount, p.prefix)))
			var once sync.Once
			rep, err := p.real(t, 3*time.Second, func(n int64) {
				if n >= 5 {
					once.Do(func() { rig(t, "cut") })
				}
			})
			fixture.Must(t, err)
			c := rep.Result("content")
			t.Log(c.Reason)
			if c.Status != checks.Unknown || len(found(rep)) > 0 || rep.Verdict != checks.Warned || rep.Manifest != "" {
				t.Errorf("content %v %q, found %q, verdict %v, manifest %q", c.Status, c.Reason, found(rep), rep.Verdict, rep.Manifest)
			}
			rig(t, "heal")
			// Until it is back, the job is refused or not checked: never passed, never failed.
			for deadline := time.Now().Add(80 * time.Second); ; {
				rep, err = p.real(t, 5*time.Second, nil)
				if err == nil && rep.Verdict == checks.Passed {
					break
				}
				if time.Now().After(deadline) {
					t.Fatalf("not back: %v, %+v", err, rep)
				}
			}
			if known, _ := rep.Result("content").Fact("share_known").Value.(int64); known < 5 || rep.Manifest == "" {
				t.Errorf("after healing: %d files known, manifest %q", known, rep.Manifest)
			}
		})
	}
}
