//go:build linux

package before

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"loadline/checks"
	"loadline/checks/internal/fixture"
	"loadline/checks/share"
	"loadline/checks/walk"
)

// TestShareMounted runs on real mounts: proc(5) mountinfo and statfs(2) are the source of what holds.
func TestShareMounted(t *testing.T) {
	if !fixture.Room(t) {
		return
	}
	base := realTemp(t)
	source := tmpfs(t, base, "disk", "size=16m")
	grow(t, source, "footage/A001.mov 5000", "share/", "A002.mov 70")
	other := tmpfs(t, base, "share", "size=64m")
	grow(t, other, "in/side/")
	grow(t, base, "unmounted/")
	bound := mountAt(t, base, "bound", "--bind", source)
	mountAt(t, base, "sub", "--bind", filepath.Join(source, "footage"))
	own := mountAt(t, base, "own", "--bind", "/usr/share")
	run := func(share string, want ...string) *checks.Report {
		t.Helper()
		rep := examine(t, checks.Job{Source: source, Share: share})
		expectWhole(t, rep, want...)
		return rep
	}

	rep := run(other, "local-file-system")
	if s := rep.Result(shareWrites.ID).Status; s != checks.Passed {
		t.Errorf("share-writes is %s: %+v", s, rep.Result(shareWrites.ID).Findings)
	}
	if rep.Result(shareNames.ID).Status != checks.Passed || rep.Result(freeSpace.ID).Status != checks.Passed {
		t.Error("share-names or free-space does not pass on tmpfs")
	}
	leftOn(t, other, "in")
	run(filepath.Join(other, "in"), "local-file-system")
	// A folder where nothing is mounted, which is on the system's own disk.
	run(filepath.Join(base, "unmounted"), "not-a-mount")
	leftOn(t, filepath.Join(base, "unmounted"))
	run("/", "not-a-mount", "nested-folders")
	// Another row of the system's own file system is still the system's own.
	run(own, "not-a-mount")
	run(filepath.Join(source, "share"), "nested-folders", "same-disk", "local-file-system")
	run(source, "nested-folders", "same-disk", "local-file-system")
	leftOn(t, filepath.Join(source, "share"))
	// Two names of one folder, and a second mount of the same file system.
	run(bound, "nested-folders", "same-disk", "local-file-system")
	run(filepath.Join(base, "sub"), "same-disk", "local-file-system")
	if err := os.Symlink(filepath.Join(source, "footage"), filepath.Join(base, "link")); err != nil {
		t.Fatal(err)
	}
	run(filepath.Join(base, "link"), "nested-folders", "same-disk", "local-file-system")
	aside := mountAt(t, base, "aside", "--bind", filepath.Join(source, "share"))
	rep = examine(t, checks.Job{Source: filepath.Join(source, "footage"), Share: aside})
	expectWhole(t, rep, "same-disk", "local-file-system")
	// The newest of stacked rows covers.
	tmpfs(t, base, "share", "size=1m")
	rep = run(other, "local-file-system")
	if total := fact[int64](t, rep, freeSpace, "total_bytes"); total != 1<<20 {
		t.Errorf("size of the share %d, want that of the upper mount", total)
	}
	// Mounted read-only: the table says so, and a write says so.
	fixture.Command(t, "/", "mount", "-o", "remount,ro", other)
	rep = run(other, "local-file-system", "mount-read-only", "share-read-only")
	if rep.Verdict != checks.Failed {
		t.Error("a read-only share does not fail")
	}
}

// TestFreeSpace compares with statfs(2) by df and stat -f (coreutils) on real file systems.
func TestFreeSpace(t *testing.T) {
	if !fixture.Room(t) {
		return
	}
	base := realTemp(t)
	source := filepath.Join(base, "source")
	grow(t, source, "a/one 1000000", "a/two 1", "b/three 4096", "b/four 4097", "hole 2000000 hole", "b/linked == a/one", "empty/", "link => a/one", "pipe fifo")
	const need = 1003520 + 4096 + 4096 + 8192 + 2002944 + 1003520 // rounded up to 4,096, links each, holes in full
	share := mountAt(t, base, "ext4", fixture.Image(t, 64<<20, "mkfs.ext4", "-q", "-b", "4096", "-m", "0", "-N", "512", "-O", "^has_journal"))
	rep := examine(t, checks.Job{Source: source, Share: share})
	if got := fact[int64](t, rep, freeSpace, "need_bytes"); got != need {
		t.Errorf("needs %d bytes, want %d", got, need)
	}
	if got := fact[int64](t, rep, freeSpace, "need_inodes"); got != 9 {
		t.Errorf("needs %d inodes, want 6 files and 3 folders", got)
	}
	var free, inodes int64
	fmt.Sscan(strings.Fields(output(t, base, "df", "--output=avail", "-B1", share))[1], &free)
	fmt.Sscan(output(t, base, "stat", "-f", "-c", "%d", share), &inodes)
	if got := fact[int64](t, rep, freeSpace, "free_bytes"); got != free {
		t.Errorf("%d bytes free, df says %d", got, free)
	}
	if got := fact[int64](t, rep, freeSpace, "free_inodes"); got != inodes {
		t.Errorf("%d inodes free, stat -f says %d", got, inodes)
	}
	expectWhole(t, rep, "local-file-system")
	leftOn(t, share, "lost+found")

	// One file more than the share has inodes for.
	many := filepath.Join(base, "many")
	for i := range inodes {
		grow(t, many, fmt.Sprintf("%03d 1", i))
	}
	expectWhole(t, examine(t, checks.Job{Source: many, Share: share}), "local-file-system")
	grow(t, many, "more 1")
	expectWhole(t, examine(t, checks.Job{Source: many, Share: share}), "local-file-system", "too-few-inodes")

	// Room for all but little more, then for less than all, by the largest file and by 2 %.
	fill := func(left int64) {
		t.Helper()
		var st unix.Statfs_t
		if err := unix.Statfs(share, &st); err != nil {
			t.Fatal(err)
		}
		_ = os.Remove(filepath.Join(share, "fill"))
		f, err := os.Create(filepath.Join(share, "fill"))
		if err != nil {
			t.Fatal(err)
		}
		defer f.Close()
		for size := int64(0); ; size += 1 << 20 {
			if err := unix.Statfs(share, &st); err != nil {
				t.Fatal(err)
			}
			rest := int64(st.Bavail)*4096 - left
			if rest <= 0 {
				return
			}
			if err := unix.Fallocate(int(f.Fd()), 0, size, min(rest, 1<<20)); err != nil {
				t.Fatal(err)
			}
		}
	}
	fill(need + 3<<20)
	expectWhole(t, examine(t, checks.Job{Source: source, Share: share}), "local-file-system")
	fill(need + 1<<20) // less than the largest file, 2,000,000 bytes
	expectWhole(t, examine(t, checks.Job{Source: source, Share: share}), "local-file-system", "thin-margin")
	fill(need - 8192)
	rep = examine(t, checks.Job{Source: source, Share: share})
	expectWhole(t, rep, "local-file-system", "too-few-bytes")
	leftOn(t, share, "fill", "lost+found")

	// Half a copy takes its share off: what is there with the same size is not needed again.
	if err := os.Remove(filepath.Join(share, "fill")); err != nil {
		t.Fatal(err)
	}
	grow(t, filepath.Join(share, "2026", "mill"), "a/one 1000000", "b/three 4095", "b/four 4097", "empty/", "other 5")
	fill(need - 1003520 - 8192 + 4<<20)
	rep = examine(t, checks.Job{Source: source, Share: share, Prefix: "2026/mill"})
	if got := fact[int64](t, rep, freeSpace, "already_bytes"); got != 1003520+8192 {
		t.Errorf("already there %d bytes, want a/one and b/four", got)
	}
	expectWhole(t, rep, "local-file-system")
	left := fact[int64](t, rep, freeSpace, "left_bytes")
	if want := fact[int64](t, rep, freeSpace, "free_bytes") - (need - 1003520 - 8192); left != want {
		t.Errorf("left %d, want %d", left, want)
	}
	// The same share without the prefix is empty of the source.
	rep = examine(t, checks.Job{Source: source, Share: share})
	if left := fact[int64](t, rep, freeSpace, "left_bytes"); left != fact[int64](t, rep, freeSpace, "free_bytes")-need {
		t.Errorf("left %d without the prefix", left)
	}
}

// A full share is said to be full by the trial, whatever statfs says.
func TestFullShare(t *testing.T) {
	if !fixture.Room(t) {
		return
	}
	base := realTemp(t)
	source := filepath.Join(base, "source")
	grow(t, source, "a 10")
	share := tmpfs(t, base, "share", "size=64k")
	if err := os.WriteFile(filepath.Join(share, "fill"), make([]byte, 64<<10), 0o644); err != nil {
		t.Fatal(err)
	}
	rep := examine(t, checks.Job{Source: source, Share: share})
	expectWhole(t, rep, "local-file-system", "share-full", "too-few-bytes")
	leftOn(t, share, "fill")
}

// TestUnplugged takes the source away while it is walked (umount -l), which must end soon, and never
// good.
func TestUnplugged(t *testing.T) {
	if !fixture.Room(t) {
		return
	}
	base := realTemp(t)
	img := fixture.Image(t, 64<<20, "mkfs.ext4", "-q")
	disk := mountAt(t, base, "disk", img)
	var tree []string
	for i := range 40 {
		tree = append(tree, fmt.Sprintf("d%02d/e/f 10", i), fmt.Sprintf("d%02d/g 10", i))
	}
	grow(t, disk, tree...)
	var once sync.Once
	pull := &checks.Check{
		ID: "pull", Title: "t", Doc: "d", Fix: "f", Group: checks.GroupFiles, Rules: []*checks.Rule{{ID: "pulled", When: "w", Fix: "f", Source: "test"}},
	}
	pulled := func() {
		once.Do(func() {
			if err := unix.Unmount(disk, unix.MNT_DETACH); err != nil {
				t.Error(err)
			}
		})
	}
	// While it is walked: what is open stays readable, so either all was seen or the report says
	// what was not.
	pull.Visit = func(*checks.Pass, *walk.Dir) { pulled() }
	rep, err := checks.Run(t.Context(), checks.Job{Source: disk, Workers: 4}, append([]*checks.Check{pull}, List()...), nil)
	if err != nil {
		t.Fatal(err)
	}
	sound(t, rep)
	if rep.Verdict == checks.Passed || rep.Totals.Files != 80 && rep.Result(permissions.ID).Status == checks.Passed {
		t.Errorf("unplugged: %d files, verdict %s", rep.Totals.Files, rep.Verdict)
	}
	// Before the walk: the folder under the mount is empty, and an empty source is never good.
	fixture.Command(t, "/", "mount", img, disk)
	once = sync.Once{}
	pull.Visit, pull.Finish = nil, func(context.Context, *checks.Pass) error { pulled(); return nil }
	if rep, err = checks.Run(t.Context(), checks.Job{Source: disk}, append([]*checks.Check{pull}, List()...), nil); err != nil {
		t.Fatal(err)
	}
	sound(t, rep)
	if _, ok := whole(rep)["nothing-to-copy"]; !ok || rep.Verdict != checks.Failed {
		t.Error("nothing-to-copy does not hold of an empty source")
	}
}

// A share that is unmounted while the checks run is seen before anything is written in its place.
func TestVanishingShare(t *testing.T) {
	if !fixture.Room(t) {
		return
	}
	base := realTemp(t)
	source := filepath.Join(base, "source")
	grow(t, source, "a 10")
	for _, at := range []*checks.Check{ShareMounted, mountOptions, shareWrites, shareNames, permissions} {
		share := tmpfs(t, base, "share", "size=16m")
		rep, err := checks.Run(t.Context(), checks.Job{Source: source, Share: share, Deadline: time.Hour}, List(), func(e checks.Event) {
			if e.Check == at && e.Result == nil {
				_ = unix.Unmount(share, unix.MNT_DETACH)
			}
		})
		if err != nil {
			t.Fatalf("gone at %s: %v", at.ID, err)
		}
		sound(t, rep)
		if rep.Verdict == checks.Passed || rep.Result(freeSpace.ID).Status == checks.Passed {
			t.Errorf("gone at %s: verdict %s, free-space %s", at.ID, rep.Verdict, rep.Result(freeSpace.ID).Status)
		}
		if s := rep.Result(shareWrites.ID).Status; s == checks.Passed && (at == ShareMounted || at == mountOptions || at == shareWrites) {
			t.Errorf("gone at %s: share-writes passes on what lies below the mount", at.ID)
		}
		leftOn(t, share)
	}
}

// A bind mount of a folder into itself would be walked for ever.
func TestBindCycle(t *testing.T) {
	if !fixture.Room(t) {
		return
	}
	base := realTemp(t)
	source := tmpfs(t, base, "disk", "size=16m")
	grow(t, source, "a/b/file 10", "other/")
	mountAt(t, source, "a/b/again", "--bind", source)
	tmpfs(t, source, "other/disk", "size=1m")
	grow(t, source, "other/disk/file 10")
	rep := examine(t, checks.Job{Source: source})
	compare(t, "mount", spots(rep, folderLoop, otherMount), map[spot]bool{
		{"folder-loop", "a/b/again"}: true, {"other-mount", "a/b/again"}: true, {"other-mount", "other/disk"}: true,
	})
	if rep.Totals.Files != 2 || rep.Verdict != checks.Failed {
		t.Errorf("%d files, verdict %s", rep.Totals.Files, rep.Verdict)
	}
}

// sizes near the most that an int64 counts fit on no share; none of the sums may wrap round.
func TestHugeSizes(t *testing.T) {
	if !fixture.Room(t) {
		return
	}
	base := realTemp(t)
	source := tmpfs(t, base, "disk", "size=16m")
	grow(t, source, "a/1 9223372036854775807 hole", "a/2 9223372036854775807 hole", "b/3 9223372036854775807 hole", ".Trashes/4 9223372036854775807 hole")
	share := tmpfs(t, base, "share", "size=16m")
	for _, job := range []checks.Job{{Source: source}, {Source: source, Share: share, Uplink: 1e-300, Link: 1e-300, Battery: time.Hour}} {
		rep := examine(t, job)
		if rep.Totals.Bytes != 1<<63-1 {
			t.Errorf("%d bytes in all", rep.Totals.Bytes)
		}
		if job.Share != "" {
			expectWhole(t, rep, "local-file-system", "too-few-bytes", "battery-too-short")
		}
		for _, c := range rep.Checks {
			for _, f := range c.Facts {
				if n, ok := f.Value.(int64); ok && n < 0 && f.Key != "left_bytes" {
					t.Errorf("%s: %s", c.ID, f.Text)
				}
			}
		}
	}
}

// Where neither hard nor soft shows nothing is green, and what failed stays a failure.
func TestNeitherHardNorSoft(t *testing.T) {
	source, folder := realTemp(t), realTemp(t)
	grow(t, source, "a 10")
	for options, want := range map[string]checks.Status{
		"rw,hard,proto=tcp": checks.Passed, "rw,proto=tcp": checks.Unknown, "ro,proto=tcp": checks.Failed, "rw,soft": checks.Failed, "": checks.Unknown,
	} {
		for _, on := range []share.Platform{share.Linux, share.MacOS, share.Windows} {
			facts := &share.Facts{
				Path: folder, Network: true, NFS: true, Version: "4.1", Platform: on, Invented: "a share of this test",
				Mount: share.Mount{From: "box:/a", Point: folder, Type: "nfs4", Options: strings.Split(options, ",")},
			}
			rep := examine(t, checks.Job{Source: source, Share: folder, StandIn: facts, NoTrial: true})
			res := rep.Result(mountOptions.ID)
			if res.Status != want {
				t.Errorf("%s, %q: %s, want %s: %s", on, options, res.Status, want, res.Summary)
			}
			again := res.Fact("mount_again").Commands
			if (len(again) == 2) != (want != checks.Passed && on != share.Windows) {
				t.Errorf("%s, %q: to mount again: %q", on, options, again)
			}
			var text strings.Builder
			if err := rep.WriteText(&text); err != nil {
				t.Fatal(err)
			}
			for _, line := range again {
				if !strings.Contains(text.String(), "\n        "+line+"\n") {
					t.Errorf("the text does not give %q on a line of its own", line)
				}
			}
		}
	}
}

// Where nothing is mounted the card gives the command that mounts the share on the chosen folder.
func TestTellToMount(t *testing.T) {
	source, folder := realTemp(t), realTemp(t)
	grow(t, source, "a 10")
	for on, want := range map[share.Platform]string{share.Linux: "hard,proto=tcp", share.MacOS: "vers=3,tcp,hard,intr"} {
		facts := &share.Facts{
			Path: folder, System: true, Platform: on, Invented: "a share of this test",
			Mount: share.Mount{From: "/dev/disk3s5", Point: "/", Type: "apfs"},
		}
		rep := examine(t, checks.Job{Source: source, Share: folder, StandIn: facts, NoTrial: true})
		got := fact[[]string](t, rep, ShareMounted, "mount_command")
		if len(got) != 1 || !strings.Contains(got[0], want) || !strings.HasSuffix(got[0], "SERVER:/EXPORT "+share.ShellQuote(folder)) {
			t.Errorf("%s: %q", on, got)
		}
	}
}
