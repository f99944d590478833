package fix

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"golang.org/x/sys/unix"
)

// TestCopiesOnDisks archives a card on real file systems, and replaces links by copies where the
// file system has links; back, with the disk unplugged in between. exFAT has none (exFAT
// specification, from memory).
func TestCopiesOnDisks(t *testing.T) {
	eachDisk(t, func(t *testing.T, kind string, d *testDisk) {
		root := d.path + "/archive"
		plant(t, root, "day/DCIM/100ABCDE/a.jpg", "day/DCIM/100ABCDE/b\u0301.mov", "takes/one/c.mov", "takes/d.mov")
		links := []string{"l", "far/m"}
		if kind == "exfat" {
			links = nil
		} else {
			plant(t, root, "l => takes", "far/m => ../takes/d.mov")
		}
		p := mustPlan(t, root, limits{})
		if err := p.Archive("day/DCIM", true); err != nil {
			t.Fatal(err)
		}
		for _, l := range links {
			if err := p.Replace(l, true); err != nil {
				t.Fatal(err)
			}
		}
		before, card := snapshot(t, root), snapshot(t, root+"/day/DCIM")
		out := mustApply(t, p)
		if out.Made != 1+len(links) || len(out.Dates) > 0 {
			t.Fatalf("outcome %+v", out)
		}
		d.unplug()
		d.plug()
		got := unpacked(t, root+"/day/DCIM.tar", "DCIM")
		for path := range got {
			// The disks keep permissions of their own; the dates and the content must be there.
			got[path], card[path] = afterMode(got[path]), afterMode(card[path])
		}
		same(t, "unpacked", got, card)
		if len(links) > 0 {
			same(t, "the copy of a folder", contents(snapshot(t, root+"/l")), contents(snapshot(t, root+"/takes")))
			same(t, "the copy of a file", snapshot(t, root+"/far")["m"], snapshot(t, root+"/takes")["d.mov"])
		}
		mustUndo(t, out.Journal)
		d.unplug()
		d.plug()
		same(t, "after undo", snapshot(t, root), before)
	})
}

func afterMode(say string) string {
	_, rest, _ := strings.Cut(say, " ")
	return rest
}

// TestCopiesReadOnly: a disk that takes nothing is left alone, and no journal speaks of it.
func TestCopiesReadOnly(t *testing.T) {
	with := diskKinds["ext4"]
	d := newDisk(t, 24, with.make, with.mount)
	plant(t, d.path, "DCIM/100ABCDE/a.jpg", "l => DCIM")
	before := snapshot(t, d.path)
	run(t, "mount", "-o", "remount,ro", d.path)
	state := t.TempDir()
	for _, want := range []func(*Plan) error{
		func(p *Plan) error { return p.Archive("DCIM", true) },
		func(p *Plan) error { return p.Replace("l", true) },
	} {
		p := mustPlan(t, d.path, limits{})
		if err := want(p); err != nil {
			t.Fatal(err)
		}
		_, err := p.Apply(context.Background(), Options{StateDir: state})
		var stopped *StoppedError
		if !errors.Is(err, unix.EROFS) || errors.As(err, &stopped) || !strings.Contains(err.Error(), "write protection") {
			t.Error(err)
		}
	}
	if all, err := Journals(d.path, state); err != nil || len(all) > 0 {
		t.Errorf("%d journals, %v", len(all), err)
	}
	same(t, "after", snapshot(t, d.path), before)
}

// TestNoRoom: a disk that has no room for the copies is left alone, and so is one that fills up
// while they are made.
func TestNoRoom(t *testing.T) {
	with := diskKinds["ext4"]
	d := newDisk(t, 24, with.make, with.mount)
	outside := t.TempDir()
	plant(t, outside, "in/a.mov")
	plant(t, d.path, "l => "+outside+"/in", "x?")
	before := snapshot(t, d.path)
	p := mustPlan(t, d.path, limits{})
	if err := p.Replace("l", true); err != nil {
		t.Fatal(err)
	}
	if err := os.Truncate(outside+"/in/a.mov", 40<<20); err != nil {
		t.Fatal(err)
	}
	w, err := p.Estimate(context.Background())
	if !errors.Is(err, ErrRoom) || w.Bytes < 40<<20 || w.Free > 24<<20 || w.Copies[0].Files != 1 {
		t.Errorf("weighed: %+v, %v", w, err)
	}
	if _, err := p.Apply(context.Background(), Options{}); !errors.Is(err, ErrRoom) {
		t.Errorf("applied: %v", err)
	}
	same(t, "no room", snapshot(t, d.path), before)

	if err := os.Truncate(outside+"/in/a.mov", 10<<20); err != nil {
		t.Fatal(err)
	}
	_, err = p.Apply(context.Background(), Options{test: rig{hook: func(point string) {
		if point == "make" {
			fill(t, filepath.Join(d.path, "other"))
		}
	}}})
	if !errors.Is(err, unix.ENOSPC) || !strings.Contains(err.Error(), "the disk is full") {
		t.Errorf("full meanwhile: %v", err)
	}
	if err := os.Remove(filepath.Join(d.path, "other")); err != nil {
		t.Fatal(err)
	}
	after := snapshot(t, d.path)
	after[""] = before[""] // the other file changed that date
	same(t, "full meanwhile", after, before)
}

// TestOverlay renames, copies and archives on an overlay of two file systems, where a file that is changed
// for the first time comes to be in the upper one and gets another inode number, and where files are of
// another device than their folder (kernel documentation of overlayfs, "Inode properties").
func TestOverlay(t *testing.T) {
	if os.Geteuid() != 0 {
		t.Fatal("this test mounts file systems, so it must run as root")
	}
	lower, above, root := t.TempDir(), t.TempDir(), t.TempDir()
	plant(t, lower, "day/a:b.mov", "day/c.mov", "DCIM/100ABCDE/d.jpg", "in/e.mov", "l => in")
	run(t, "mount", "-t", "tmpfs", "tmpfs", above)
	t.Cleanup(func() { run(t, "umount", above) })
	upper, work := filepath.Join(above, "upper"), filepath.Join(above, "work")
	if err := errors.Join(os.Mkdir(upper, 0o755), os.Mkdir(work, 0o755)); err != nil {
		t.Fatal(err)
	}
	run(t, "mount", "-t", "overlay", "-o", "lowerdir="+lower+",upperdir="+upper+",workdir="+work, "overlay", root)
	t.Cleanup(func() { run(t, "umount", root) })
	before := snapshot(t, root)
	p := mustPlan(t, root, limits{})
	if err := errors.Join(p.Replace("l", true), p.Archive("DCIM", true)); err != nil {
		t.Fatal(err)
	}
	out := mustApply(t, p)
	if out.Done != 1 || out.Made != 2 {
		t.Errorf("%+v", out)
	}
	mustUndo(t, out.Journal)
	same(t, "after undo", snapshot(t, root), before)
}
