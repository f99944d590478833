package fix

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

func TestTwoPlansAtOnce(t *testing.T) {
	root := t.TempDir()
	plant(t, root, "a:b", "c:d")
	first, second := mustPlan(t, root, limits{}), mustPlan(t, root, limits{})
	tried := false
	out, err := first.Apply(context.Background(), Options{StateDir: t.TempDir(), test: rig{hook: func(string) {
		if tried {
			return
		}
		tried = true
		if _, err := second.Apply(context.Background(), Options{StateDir: t.TempDir()}); !errors.Is(err, ErrBusy) {
			t.Errorf("a second plan at the same time: %v", err)
		}
	}}})
	if err != nil || !tried {
		t.Fatal(err, tried)
	}
	// Afterwards it is refused too: the files are no longer those that it was made for.
	if _, err := second.Apply(context.Background(), Options{StateDir: t.TempDir()}); !errors.Is(err, ErrChanged) {
		t.Errorf("a second plan afterwards: %v", err)
	}
	mustUndo(t, out.Journal)
}

func TestUnfinishedAndLater(t *testing.T) {
	root, state := t.TempDir(), t.TempDir()
	plant(t, root, "a:b", "c:d", "e")
	before := snapshot(t, root)
	o := Options{StateDir: state}
	p := mustPlan(t, root, limits{})
	ctx, cancel := context.WithCancel(context.Background())
	o.Progress = func(at Progress) {
		if at.Path == "a:b" {
			cancel() // after this rename
		}
	}
	_, err := p.Apply(ctx, o)
	var stopped *StoppedError
	if !errors.As(err, &stopped) || !errors.Is(err, context.Canceled) || stopped.Done != 1 || stopped.Total != 2 {
		t.Fatalf("stopped by its context: %v", err)
	}
	o.Progress = nil
	if _, err := mustPlan(t, root, limits{}).Apply(context.Background(), o); !errors.Is(err, ErrUnfinished) {
		t.Errorf("on top of an unfinished plan: %v", err)
	}
	first, err := Resume(context.Background(), stopped.Journal, o)
	if err != nil {
		t.Fatal(err)
	}
	// A later plan has to be undone first.
	q := force(t, root, [][2]string{{"e", "f"}})
	second, err := q.Apply(context.Background(), o)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := Undo(context.Background(), first.Journal, o); !errors.Is(err, ErrLater) {
		t.Errorf("undoing the earlier plan first: %v", err)
	}
	all, err := Journals(root, state)
	if err != nil || len(all) != 2 || all[0].Path != first.Journal || all[1].State != StateApplied || all[1].Renames != 1 {
		t.Errorf("journals %+v, %v", all, err)
	}
	mustUndo(t, second.Journal)
	mustUndo(t, first.Journal)
	same(t, "after undo", snapshot(t, root), before)
}

// TestChanged: whatever happened to the source since the plan was made, nothing is renamed.
func TestChanged(t *testing.T) {
	for name, change := range map[string]func(root string) error{
		"removed":  func(root string) error { return os.Remove(root + "/d?/a:b") },
		"grown":    func(root string) error { return os.WriteFile(root+"/d?/a:b", []byte("more than before"), 0o644) },
		"touched":  func(root string) error { return os.Chtimes(root+"/d?/a:b", time.Now(), time.Now()) },
		"new name": func(root string) error { return os.WriteFile(root+"/d?/A-B", nil, 0o644) },
		"replaced": func(root string) error {
			return errors.Join(os.Remove(root+"/d?/a:b"), os.Mkdir(root+"/d?/a:b", 0o755))
		},
		"link in": func(root string) error {
			return errors.Join(os.Rename(root+"/d?", root+"/x"), os.Symlink("x", root+"/d?"))
		},
		"other one": func(root string) error {
			return errors.Join(os.Rename(root+"/d?", root+"/x"), os.MkdirAll(root+"/d?", 0o755))
		},
	} {
		t.Run(name, func(t *testing.T) {
			root, state := t.TempDir(), t.TempDir()
			plant(t, root, "d?/a:b", "c:d")
			p := mustPlan(t, root, limits{})
			if err := change(root); err != nil {
				t.Fatal(err)
			}
			before := snapshot(t, root)
			if _, err := p.Apply(context.Background(), Options{StateDir: state}); !errors.Is(err, ErrChanged) {
				t.Errorf("got %v", err)
			}
			same(t, "the tree", snapshot(t, root), before)
		})
	}
}

// TestLinkOut: a folder that becomes a link out of the source, right before a rename in it, does not
// lead the rename out.
func TestLinkOut(t *testing.T) {
	root, outside := t.TempDir(), t.TempDir()
	plant(t, root, "d/a:b")
	plant(t, outside, "a:b")
	p := mustPlan(t, root, limits{})
	_, err := p.Apply(context.Background(), Options{StateDir: t.TempDir(), test: rig{hook: func(point string) {
		if point == "journaled" {
			if err := errors.Join(os.Rename(root+"/d", root+"/moved"), os.Symlink(outside, root+"/d")); err != nil {
				t.Error(err)
			}
		}
	}}})
	if err == nil {
		t.Error("renamed through a link")
	}
	if _, err := os.Lstat(outside + "/a:b"); err != nil {
		t.Errorf("outside: %v", err)
	}
}

// TestNeverOver: a file that takes the new name at the last moment is not harmed, with and without
// an exclusive rename.
func TestNeverOver(t *testing.T) {
	for _, plain := range []bool{false, true} {
		root := t.TempDir()
		plant(t, root, "a:b", "c?/")
		for _, s := range []string{"a-b", "c_"} {
			p := mustPlan(t, root, limits{})
			done := false
			_, err := p.Apply(context.Background(), Options{StateDir: t.TempDir(), test: rig{plain: plain, hook: func(point string) {
				if point == "rename" && !done {
					done = true
					if err := os.WriteFile(root+"/"+s, []byte("precious"), 0o644); err != nil {
						t.Error(err)
					}
				}
			}}})
			if err == nil || !strings.Contains(err.Error(), "has taken the new name") {
				t.Errorf("plain=%v %s: got %v", plain, s, err)
			}
			if b, err := os.ReadFile(root + "/" + s); err != nil || string(b) != "precious" {
				t.Errorf("plain=%v: %s holds %q, %v", plain, s, b, err)
			}
			all, err := Journals(root, "/nonexistent")
			if err != nil {
				t.Fatal(err)
			}
			for _, j := range all {
				mustUndo(t, j.Path)
			}
			if err := os.Remove(root + "/" + s); err != nil {
				t.Fatal(err)
			}
			if _, err := os.Stat(root + "/a:b"); err != nil {
				t.Error(err)
			}
		}
	}
}

// TestUndoAfterWork: files that were written to, or removed, since the plan was applied do not keep
// the others from getting their names back.
func TestUndoAfterWork(t *testing.T) {
	root := t.TempDir()
	plant(t, root, "a:1", "a:2", "d?/a:3")
	out := mustApply(t, mustPlan(t, root, limits{}))
	if err := errors.Join(os.WriteFile(root+"/a-1", []byte("edited"), 0o644), os.Remove(root+"/d_/a-3")); err != nil {
		t.Fatal(err)
	}
	back, err := Undo(context.Background(), out.Journal, Options{StateDir: t.TempDir()})
	if err != nil {
		t.Fatal(err)
	}
	same(t, "gone", back.Gone, []string{"d?/a:3"})
	if b, err := os.ReadFile(root + "/a:1"); err != nil || string(b) != "edited" {
		t.Errorf("the edited file: %q, %v", b, err)
	}
	if _, err := os.Stat(root + "/d?"); err != nil {
		t.Error(err)
	}
}

// TestStateFolder: a journal in the state folder finds a source that is mounted elsewhere now.
func TestStateFolder(t *testing.T) {
	top, state := t.TempDir(), t.TempDir()
	root := top + "/disk"
	plant(t, root, "a:b")
	before := snapshot(t, root)
	out, err := mustPlan(t, root, limits{}).Apply(context.Background(), Options{StateDir: state, InState: true})
	if err != nil {
		t.Fatal(err)
	}
	if filepath.Dir(out.Journal) != state || strings.HasPrefix(filepath.Base(out.Journal), ".") {
		t.Errorf("journal at %s", out.Journal)
	}
	if err := os.Rename(root, top+"/disk1"); err != nil {
		t.Fatal(err)
	}
	if _, err := Undo(context.Background(), out.Journal, Options{StateDir: state}); err == nil {
		t.Error("undone where nothing is")
	}
	if _, err := Undo(context.Background(), out.Journal, Options{StateDir: state, Source: top + "/disk1"}); err != nil {
		t.Fatal(err)
	}
	same(t, "after undo", snapshot(t, top+"/disk1"), before)
}

// TestDecomposingDisk plays a disk that keeps names in NFD whatever it is told, as HFS+ does (Apple
// TN1150, from memory): the plan says which names it could not change, and undo takes it calmly.
func TestDecomposingDisk(t *testing.T) {
	root := t.TempDir()
	p := forced(t, root, [][2]string{{"d/e\u0301.mov", "\u00e9.mov"}, {"d/a:b", "a-b"}})
	before := snapshot(t, root)
	out, err := p.Apply(context.Background(), Options{StateDir: t.TempDir(), test: rig{hook: func(point string) {
		if _, err := os.Lstat(root + "/d/\u00e9.mov"); point == "renamed" && err == nil {
			if err := os.Rename(root+"/d/\u00e9.mov", root+"/d/e\u0301.mov"); err != nil {
				t.Error(err)
			}
		}
	}}})
	if err != nil {
		t.Fatal(err)
	}
	same(t, "kept", out.Kept, []string{"d/e\u0301.mov"})
	mustUndo(t, out.Journal)
	same(t, "after undo", snapshot(t, root), before)
}
