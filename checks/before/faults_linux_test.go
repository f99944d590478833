package before

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"

	"golang.org/x/sys/unix"

	"loadline/checks"
	"loadline/checks/internal/fixture"
	"loadline/checks/walk"
)

// btrfs keeps a checksum of every block, so a byte that is flipped under it gives EIO for its block of 4 KiB. Exactly
// the damaged file fails, at that block; it stays a finding while nobody reads; a second reading reads nothing but
// it; and saved from a copy, it reads.
func TestDamagedDisk(t *testing.T) {
	if !fixture.Room(t) {
		return
	}
	img := fixture.Image(t, 128<<20, "mkfs.btrfs", "-q", "-d", "single", "-m", "dup")
	dir, state := filepath.Join(realTemp(t), "disk"), t.TempDir()
	unmount := fixture.Mount(t, dir, "-o", "loop", img)
	files := archiveOf(t, dir)
	const damaged = "day1/clip 5.mov"
	content := files[damaged]
	unmount()
	for _, block := range []int{0x155, 0x156, 0x200} {
		fixture.Flip(t, img, fixture.FindIn(t, img, content[block*4096+100:block*4096+400]))
	}
	unmount = fixture.Mount(t, dir, "-o", "loop", img)
	want := []string{"read-fails " + damaged + " 1396736 12288"} // 0x155 × 4,096; three blocks in two places
	for run, n := range []int64{int64(len(files)) - 1, 0} {
		r := everyByteOf(t, reading(dir, state))
		if got := told(r); r.Status != checks.Failed || !slices.Equal(got, want) || r.Fact("files_read").Value != n {
			t.Errorf("reading %d: %v %q, %v read", run, r.Status, got, r.Fact("files_read").Value)
		}
	}
	// On another mount point of the same disk, without reading.
	unmount()
	other := filepath.Join(realTemp(t), "other")
	unmount = fixture.Mount(t, other, "-o", "loop", img)
	job := reading(other, state)
	job.Read = false
	if r := everyByteOf(t, job); r.Status != checks.Failed || !slices.Equal(told(r), want) || r.Fact("remembered").Value != int64(len(files))-1 {
		t.Errorf("remembered: %v %q, %v", r.Status, told(r), r.Fact("remembered").Value)
	}
	// The baseline holds what is whole, and counts the rest.
	job = reading(other, state)
	job.Baseline = filepath.Join(t.TempDir(), "baseline")
	if r := everyByteOf(t, job); r.Fact("baseline_unread").Value != int64(1) {
		t.Errorf("baseline: %v unread", r.Fact("baseline_unread").Value)
	}
	fixture.Command(t, other, "sha256sum", "-c", "--strict", "--warn", job.Baseline)
	fixture.Must(t, os.Remove(filepath.Join(other, damaged)))
	fixture.WriteFile(t, filepath.Join(other, damaged), string(content))
	if r := everyByteOf(t, reading(other, state)); r.Fact("files_read").Value != int64(1) || len(told(r)) > 0 {
		t.Errorf("restored: %v %q, %v read", r.Status, told(r), r.Fact("files_read").Value)
	}
	unmount()
}

// ext4 counts an error that is put on it by its own switch (sysfs, trigger_fs_error): the check warns, read or not.
func TestDiskErrors(t *testing.T) {
	if !fixture.Room(t) {
		return
	}
	dev := fixture.Loop(t, fixture.Image(t, 32<<20, "mkfs.ext4", "-q"))
	dir := filepath.Join(realTemp(t), "disk")
	unmount := fixture.Mount(t, dir, "-o", "errors=continue", dev)
	archiveOf(t, dir)
	if r := everyByteOf(t, reading(dir, "")); r.Status != checks.Passed || r.Rules["disk-errors"] != 0 {
		t.Errorf("whole: %v %q", r.Status, r.Reason)
	}
	fixture.Must(t, os.WriteFile(filepath.Join("/sys/fs/ext4", filepath.Base(dev), "trigger_fs_error"), []byte("a test"), 0o200))
	count := filepath.Join("/sys/fs/ext4", filepath.Base(dev), "errors_count")
	for text := []byte("0\n"); string(text) == "0\n"; { // the kernel counts it a moment later
		var err error
		text, err = os.ReadFile(count)
		fixture.Must(t, err)
	}
	for _, read := range []bool{true, false} {
		job := reading(dir, "")
		job.Read = read
		if r := everyByteOf(t, job); r.Rules["disk-errors"] != 1 || read && r.Status != checks.Warned {
			t.Errorf("read %v: %v, %v", read, r.Status, r.Rules)
		}
	}
	unmount()
}

// A disk that is taken away midway, as by umount -l, ends with what was read kept.
func TestDiskTakenAway(t *testing.T) {
	if !fixture.Room(t) {
		return
	}
	img := fixture.Image(t, 64<<20, "mkfs.ext4", "-q")
	dir, state := filepath.Join(realTemp(t), "disk"), t.TempDir()
	fixture.Mount(t, dir, "-o", "loop", img)
	files := len(archiveOf(t, dir))
	for i := range 60 { // more than is read ahead of what is hashed
		fixture.WriteFile(t, filepath.Join(dir, fmt.Sprintf("z/clip %02d.mov", i)), "frames")
		files++
	}
	var one sync.Mutex // holds up the other lane until the disk is away
	away := false
	everyByteFile = func(n int64) {
		one.Lock()
		defer one.Unlock()
		if n >= 2 && !away {
			away = true
			fixture.Must(t, unix.Unmount(dir, unix.MNT_DETACH))
		}
	}
	defer func() { everyByteFile = nil }()
	r := everyByteOf(t, reading(dir, state))
	everyByteFile = nil
	if r.Status != checks.Unknown || len(told(r)) > 0 {
		t.Fatalf("taken away: %v %q %q", r.Status, r.Reason, told(r))
	}
	fixture.Mount(t, dir, "-o", "loop", img)
	r = everyByteOf(t, reading(dir, state))
	if before, _ := r.Fact("remembered").Value.(int64); r.Status != checks.Passed || before < 2 || before >= int64(files) {
		t.Errorf("back again: %v %q, %d remembered", r.Status, r.Reason, before)
	}
}

// A disk that is taken away before the first file is read is gone; its files have not vanished one by one.
func TestDiskTakenAwayBefore(t *testing.T) {
	if !fixture.Room(t) {
		return
	}
	img := fixture.Image(t, 64<<20, "mkfs.ext4", "-q")
	dir := filepath.Join(realTemp(t), "disk")
	fixture.Mount(t, dir, "-o", "loop", img)
	archiveOf(t, dir)
	late := &checks.Check{
		ID: "late", Title: "Taken away after the walk", Group: everyByteReads.Group, Doc: "-", Fix: "-",
		Rules:  []*checks.Rule{{ID: "never", When: "-", Fix: "-", Source: "-"}},
		Finish: func(context.Context, *checks.Pass) error { return unix.Unmount(dir, unix.MNT_DETACH) },
		Visit:  func(*checks.Pass, *walk.Dir) {},
	}
	rep, err := checks.Run(t.Context(), reading(dir, t.TempDir()), []*checks.Check{late, everyByteReads}, nil)
	fixture.Must(t, err)
	if r := rep.Result(everyByteReads.ID); r.Status != checks.Unknown || !strings.Contains(r.Reason, "no longer there") {
		t.Errorf("%v %q", r.Status, r.Reason)
	}
}

// A file that rots on its disk, its number, size and dates unchanged (ext4 keeps no checksum of content), shows once it is
// read again, as for a checksum list that was made later, and from then on.
func TestReadRotted(t *testing.T) {
	if !fixture.Room(t) {
		return
	}
	img := fixture.Image(t, 64<<20, "mkfs.ext4", "-q")
	dir, state := filepath.Join(realTemp(t), "disk"), t.TempDir()
	unmount := fixture.Mount(t, dir, "-o", "loop", img)
	files := archiveOf(t, dir)
	everyByteOf(t, reading(dir, state))
	unmount()
	const file = "day1/clip 5.mov"
	fixture.Flip(t, img, fixture.FindIn(t, img, files[file][200_000:200_300])+7)
	unmount = fixture.Mount(t, dir, "-o", "loop", img)
	fixture.WriteFile(t, filepath.Join(dir, "later.md5"), fixture.Command(t, dir, "md5sum", file))
	for _, read := range []bool{true, true, false} {
		job := reading(dir, state)
		job.Read = read
		if r := everyByteOf(t, job); r.Status != checks.Failed || !slices.Equal(told(r), []string{"source-rotted " + file}) || r.Fact("known_checksums").Value != int64(1) {
			t.Errorf("read %v: %v %q, %v agree", read, r.Status, told(r), r.Fact("known_checksums").Value)
		}
	}
	unmount()
}
