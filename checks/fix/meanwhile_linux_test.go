package fix

import (
	"bytes"
	"context"
	"errors"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"loadline/checks/internal/disk"
)

// What other programs, crashes and other copies do while something is made or taken away.

// nothingLeft looks for what was on its way, and for journals.
func nothingLeft(t testing.TB, root string) {
	t.Helper()
	err := filepath.WalkDir(root, func(path string, _ fs.DirEntry, err error) error {
		if strings.Contains(path, "/.loadline-") {
			t.Errorf("left behind: %q", path)
		}
		return err
	})
	must(t, err)
}

// once returns a progress watcher that does something at the first content of a path.
func once(path string, do func()) func(Progress) {
	begun, before := false, int64(0)
	return func(p Progress) {
		switch {
		case p.Path != path:
		case !begun:
			begun, before = true, p.Bytes
		case p.Bytes > before:
			before = math.MaxInt64
			do()
		}
	}
}

// TestStoppedInFolder: what is given up in a folder leaves that folder its date.
func TestStoppedInFolder(t *testing.T) {
	root := quick(t)
	plant(t, root, "in/a.mov", "in/b.mov", "sub/l => ../in")
	before := snapshot(t, root)
	p := mustPlan(t, root, limits{})
	must(t, p.Replace("sub/l", true))
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	if _, err := p.Apply(ctx, Options{Progress: once("sub/l", cancel)}); !errors.Is(err, context.Canceled) {
		t.Fatal(err)
	}
	same(t, "after", snapshot(t, root), before)
}

// TestStoppedResume: a half that a crash left goes too when going on is given up at once.
func TestStoppedResume(t *testing.T) {
	root := quick(t)
	plant(t, root, "in/a.mov", "sub/l => ../in", "x?")
	before := snapshot(t, root)
	p := mustPlan(t, root, limits{})
	must(t, p.Replace("sub/l", true))
	journal := crashAt(t, p, "written")
	ctx, cancel := context.WithCancel(context.Background())
	if _, err := Resume(ctx, journal, Options{test: rig{hook: at("marked", 1, cancel)}}); !errors.Is(err, context.Canceled) {
		t.Fatal(err)
	}
	nothingLeft(t, root)
	same(t, "after", snapshot(t, root), before)
}

// TestEmptyFolder stops at every step of copying and taking back an empty folder, which looks like
// the guard of a name.
func TestEmptyFolder(t *testing.T) {
	for _, r := range []rig{{}, {plain: true}} {
		for _, undoing := range []bool{false, true} {
			for point, crashed := 0, true; crashed; point++ {
				root := quick(t)
				plant(t, root, "void/", "sub/l => ../void")
				before := snapshot(t, root)
				p := mustPlan(t, root, limits{})
				must(t, p.Replace("sub/l", true))
				o := Options{StateDir: t.TempDir(), test: r}
				work := func(o Options) (*Outcome, error) { return p.Apply(context.Background(), o) }
				if undoing {
					journal := mustApply(t, p).Journal
					work = func(o Options) (*Outcome, error) { return Undo(context.Background(), journal, o) }
				}
				crashed = crashing(point, func(hook func(string)) {
					o := o
					o.test.hook = hook
					if _, err := work(o); err != nil {
						t.Fatal(err)
					}
				})
				all, err := Journals(root, o.StateDir)
				must(t, err)
				for _, j := range all {
					if !undoing {
						if out, err := Resume(context.Background(), j.Path, o); err != nil || len(out.Gone) > 0 {
							t.Fatalf("point %d: %+v, %v", point, out, err)
						}
						if info, err := os.Lstat(root + "/sub/l"); err != nil || !info.IsDir() {
							t.Fatalf("point %d: %v, %v", point, info, err)
						}
					}
					out, err := Undo(context.Background(), j.Path, o)
					if err != nil || len(out.Gone)+len(out.Stayed)+len(out.Dates) > 0 {
						t.Fatalf("point %d: %+v, %v", point, out, err)
					}
				}
				after := snapshot(t, root)
				if len(all) == 0 {
					after[""] = before[""] // see recoverFrom
				}
				same(t, "after undo", after, before)
			}
		}
	}
}

// TestComparedMeanwhile: comparing may take hours. What comes up in a copy, goes from what it is of, or
// happens to an archive in that time keeps it from being taken away.
func TestComparedMeanwhile(t *testing.T) {
	for _, c := range []struct {
		name, path string
		do         func(t *testing.T, root, outside string)
		why        string
	}{
		{"a file came up in the copy", "outside", func(t *testing.T, root, _ string) {
			must(t, os.WriteFile(root+"/outside/deep/er/notes.txt", []byte("mine"), 0o644))
		}, changedSince},
		{"a file went from the original", "outside", func(t *testing.T, _, outside string) {
			must(t, os.Remove(outside+"/deep/er/c.mov"))
		}, "has changed"},
		{"the archive was replaced", "day/PRIVATE.tar", func(t *testing.T, root, _ string) {
			must(t, os.WriteFile(root+"/new", []byte("mine"), 0o644), os.Rename(root+"/new", root+"/day/PRIVATE.tar"))
		}, changedSince},
	} {
		t.Run(c.name, func(t *testing.T) {
			root, outside := plantCopies(t)
			p := wantCopies(t, root, outside)
			journal := mustApply(t, p).Journal
			out, err := Undo(context.Background(), journal, Options{Progress: once(c.path, func() { c.do(t, root, outside) })})
			must(t, err)
			if len(out.Stayed) != 1 || out.Stayed[0].Path != c.path || !strings.Contains(out.Stayed[0].Why, c.why) {
				t.Errorf("outcome %+v", out)
			}
			nothingLeft(t, root)
			switch c.path {
			case "outside":
				b, err := os.ReadFile(root + "/outside/deep/er/c.mov")
				if err != nil || string(b) != "deep/er/c.mov" {
					t.Errorf("%q, %v", b, err)
				}
			default:
				if b, err := os.ReadFile(root + "/" + c.path); err != nil || string(b) != "mine" {
					t.Errorf("%q, %v", b, err)
				}
			}
		})
	}
}

// TestHalfOfNothing: while a half was on its way the link was removed. A half never takes a place.
func TestHalfOfNothing(t *testing.T) {
	for name, do := range map[string]func(context.Context, string, Options) (*Outcome, error){"resume": Resume, "undo": Undo} {
		root, _ := plantCopies(t)
		p := mustPlan(t, root, limits{})
		must(t, p.Replace("outside", true))
		crashing(1<<30, func(func(string)) {
			_, err := p.Apply(context.Background(), Options{Progress: once("outside", func() { panic(crash{}) })})
			t.Fatal(err)
		})
		must(t, os.Remove(root+"/outside"))
		all, err := Journals(root, "")
		if err != nil || len(all) != 1 {
			t.Fatal(all, err)
		}
		out, err := do(context.Background(), all[0].Path, Options{})
		if err != nil || !slices.Equal(out.Gone, []string{"outside"}) {
			t.Errorf("%s: %+v, %v", name, out, err)
		}
		if _, err := os.Lstat(root + "/outside"); !errors.Is(err, fs.ErrNotExist) {
			t.Errorf("%s: a half is there: %v", name, err)
		}
		if half, err := filepath.Glob(root + "/" + tempPrefix + "*"); err != nil || len(half) > 0 {
			t.Errorf("%s: left behind %q, %v", name, half, err)
		}
	}
}

// TestAsideAndTaken: a copy has stepped aside for its link when the program ends, and something else
// takes the place. It is left alone; the copy goes only if what it is of still holds it.
func TestAsideAndTaken(t *testing.T) {
	for _, lost := range []bool{false, true} {
		root, outside := plantCopies(t)
		p := mustPlan(t, root, limits{})
		must(t, p.Replace("outside", true))
		journal := mustApply(t, p).Journal
		crashing(1<<30, func(func(string)) {
			_, err := Undo(context.Background(), journal, Options{test: rig{hook: at("link", 1, func() { panic(crash{}) })}})
			t.Fatal(err)
		})
		must(t, os.WriteFile(root+"/outside", []byte("mine"), 0o644))
		if lost {
			must(t, os.Remove(outside+"/d.mov"))
		}
		out, err := Undo(context.Background(), journal, Options{})
		must(t, err)
		if b, err := os.ReadFile(root + "/outside"); err != nil || string(b) != "mine" {
			t.Errorf("%q, %v", b, err)
		}
		if !lost {
			if len(out.Stayed) != 1 {
				t.Errorf("%+v", out)
			}
			nothingLeft(t, root)
			continue
		}
		if len(out.Stayed) != 2 {
			t.Fatalf("%+v", out)
		}
		if b, err := os.ReadFile(root + "/" + out.Stayed[1].Path + "/d.mov"); err != nil || string(b) != "d.mov" {
			t.Errorf("%s: %q, %v", out.Stayed[1].Path, b, err)
		}
	}
}

// TestCopiesMeet: where one copy is in what another is made from, both are right, or the second
// is refused with the reason.
func TestCopiesMeet(t *testing.T) {
	root := quick(t)
	plant(t, root, "day/DCIM/100ABCDE/a.jpg", "day/one/b.mov", "day/in/l => ../one", "a-copy => day", "z-copy => day")
	before := snapshot(t, root)
	p := mustPlan(t, root, limits{})
	must(t, p.Archive("day/DCIM", true), p.Replace("a-copy", true), p.Replace("z-copy", true), p.Replace("day/in/l", true))
	want := followed(t, root+"/day")
	out := mustApply(t, p)
	same(t, "made first", snapshot(t, root+"/a-copy"), want)
	same(t, "made last", snapshot(t, root+"/z-copy"), want)
	mustUndo(t, out.Journal)
	same(t, "after undo", snapshot(t, root), before)

	root = quick(t)
	plant(t, root, "DCIM/100ABCDE/a.jpg", "DCIM/l => 100ABCDE", "Pack?/ASSETMAP", "bag/bagit.txt", "bag/data/", "bag.tar?")
	p = mustPlan(t, root, limits{})
	must(t, p.Archive("DCIM", true))
	if err := p.Replace("DCIM/l", true); err == nil || !strings.Contains(err.Error(), "replace the link first") {
		t.Error(err)
	}
	must(t, p.Archive("DCIM", false), p.Replace("DCIM/l", true))
	if err := p.Archive("DCIM", true); err == nil || !strings.Contains(err.Error(), "the link DCIM/l in it") {
		t.Error(err)
	}
	if err := p.Archive("Pack?", true); err == nil || !strings.Contains(err.Error(), "this plan renames") {
		t.Error(err)
	}
	step, _ := p.find("bag.tar?")
	must(t, p.Edit(step, "bag.tar"))
	if err := p.Archive("bag", true); err == nil || !strings.Contains(err.Error(), "the name of the archive") {
		t.Error(err)
	}
}

// TestArchiveSkipped: a card is left out of the copy only where its archive is copied.
func TestArchiveSkipped(t *testing.T) {
	root := quick(t)
	plant(t, root, "DCIM/100ABCDE/a.jpg")
	p := mustPlan(t, root, limits{})
	must(t, p.Archive("DCIM", true))
	mustApply(t, p)
	for skip, want := range map[string]string{"DCIM.tar": "DCIM/100ABCDE/a.jpg\n", "DCIM": "DCIM.tar\n", "": "DCIM.tar\n"} {
		p = mustPlan(t, root, limits{})
		p.Skip(skip, true)
		var copied bytes.Buffer
		_, err := p.WriteLists(context.Background(), &copied, nil, false)
		must(t, err)
		same(t, "copy list without "+skip, copied.String(), want)
	}
}

// TestGrows: what grows as fast as it is copied does not fill the disk.
func TestGrows(t *testing.T) {
	root, outside := quick(t), quick(t)
	plant(t, outside, "a.mov")
	plant(t, root, "l => "+outside)
	must(t, os.Truncate(outside+"/a.mov", 3<<20))
	p := mustPlan(t, root, limits{})
	must(t, p.Replace("l", true))
	size := int64(3 << 20)
	_, err := p.Apply(context.Background(), Options{Progress: func(Progress) {
		if size += 2 << 20; size > 100<<20 {
			t.Fatal("still copying")
		}
		must(t, os.Truncate(outside+"/a.mov", size))
	}})
	if !errors.Is(err, ErrChanged) {
		t.Error(err)
	}
}

// TestOwners: the copy that root makes is its original's owner's, and so is the link when it is back.
func TestOwners(t *testing.T) {
	root, outside := quick(t), quick(t)
	plant(t, outside, "in/a.mov")
	plant(t, root, "l => "+outside)
	must(t, os.Lchown(root+"/l", 1234, 1235), os.Chown(outside+"/in", 1236, 1237), os.Chown(outside+"/in/a.mov", 1238, 1239))
	p := mustPlan(t, root, limits{})
	must(t, p.Replace("l", true))
	owner := func(path string) [2]uint32 {
		t.Helper()
		info, err := os.Lstat(path)
		must(t, err)
		st := info.Sys().(*syscall.Stat_t)
		return [2]uint32{st.Uid, st.Gid}
	}
	journal := mustApply(t, p).Journal
	same(t, "folder", owner(root+"/l/in"), [2]uint32{1236, 1237})
	same(t, "file", owner(root+"/l/in/a.mov"), [2]uint32{1238, 1239})
	mustUndo(t, journal)
	same(t, "link", owner(root+"/l"), [2]uint32{1234, 1235})
}

// TestStoppedWords: who stops the way back is told how to go on, and how far it came.
func TestStoppedWords(t *testing.T) {
	root := quick(t)
	plant(t, root, "a:1", "a:2", "a:3")
	journal := mustApply(t, mustPlan(t, root, limits{})).Journal
	ctx, cancel := context.WithCancel(context.Background())
	_, err := Undo(ctx, journal, Options{test: rig{hook: at("renamed", 1, cancel)}})
	if err == nil || !strings.HasPrefix(err.Error(), "stopped after 1 of 3 steps: interrupted (undo once more with ") {
		t.Error(err)
	}
	mustUndo(t, journal)
}

// TestFarDates: dates that 64 bits of nanoseconds cannot hold are never replaced by others without a word.
func TestFarDates(t *testing.T) {
	root, outside := quick(t), quick(t)
	plant(t, outside, "a.mov")
	plant(t, root, "d/a:b", "l => "+outside)
	far := time.Date(2300, 1, 2, 3, 4, 5, 0, time.UTC)
	for _, path := range []string{root + "/d", outside + "/a.mov"} {
		ts, err := unix.TimeToTimespec(far)
		must(t, err)
		must(t, unix.UtimesNanoAt(unix.AT_FDCWD, path, []unix.Timespec{ts, ts}, 0))
	}
	p := mustPlan(t, root, limits{})
	must(t, p.Replace("l", true))
	if _, err := p.Apply(context.Background(), Options{}); !errors.Is(err, errKept) {
		t.Error(err)
	}
	must(t, p.Replace("l", false))
	began := time.Now().Add(-time.Hour)
	out, err := p.Apply(context.Background(), Options{})
	must(t, err)
	same(t, "told", out.Dates, []string{"d"})
	if info, err := os.Stat(root + "/d"); err != nil || info.ModTime().Before(began) || info.ModTime().After(far) {
		t.Errorf("%v, %v", info.ModTime(), err)
	}
}

// TestLookLeavesDates: a plan and its weight leave even the dates of reading as they are.
func TestLookLeavesDates(t *testing.T) {
	root, outside := plantCopies(t)
	read := func() (dates []int64) {
		for _, path := range []string{root, root + "/day", root + "/" + copyCard, root + "/d?", root + "/d?/takes", root + "/d?/target.mov", outside, outside + "/deep"} {
			info, err := os.Stat(path)
			must(t, err)
			dates = append(dates, disk.AccessTime(info).UnixNano())
		}
		return dates
	}
	before := read()
	p := wantCopies(t, root, outside)
	_, err := p.Estimate(context.Background())
	must(t, err)
	same(t, "dates of reading", read(), before)
}
