package fix

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// TestCannotCopy: what cannot be copied whole is refused before anything changes.
func TestCannotCopy(t *testing.T) {
	for _, c := range []struct{ name, tree, link, want string }{
		{"circle", "in/deep/up => ..", "l => in", "leads back to a folder above it"},
		{"itself", "in/back => ../home", "home/l => ../in", "contain itself"},
		{"dangling", "in/gone => nowhere", "l => in", "cannot look at"},
		{"locked", "in/locked => loop", "in/loop => locked", ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			root := t.TempDir()
			link, _, _ := strings.Cut(c.link, " ")
			plant(t, root, "in/a.mov", c.tree, c.link, "home/b.mov")
			before := snapshot(t, root)
			p := mustPlan(t, root, limits{})
			if err := p.Replace(link, true); c.want == "" {
				if err == nil {
					t.Fatal("a link that leads nowhere was taken")
				}
				return
			} else if err != nil {
				t.Fatal(err)
			}
			if _, err := p.Estimate(context.Background()); err == nil || !strings.Contains(err.Error(), c.want) {
				t.Errorf("weighed: %v", err)
			}
			if _, err := p.Apply(context.Background(), Options{}); err == nil || !strings.Contains(err.Error(), c.want) {
				t.Errorf("applied: %v", err)
			}
			same(t, "after", snapshot(t, root), before)
		})
	}
	t.Run("above", func(t *testing.T) {
		root := t.TempDir()
		plant(t, root, "a/b/up => ../..", "a/b/here => .", "c.mov")
		p := mustPlan(t, root, limits{})
		for _, link := range []string{"a/b/up", "a/b/here"} {
			if err := p.Replace(link, true); err == nil {
				t.Errorf("%s was taken", link)
			}
		}
	})
}

// TestCopyCancelled: cancelling in the middle of the content leaves nothing behind.
func TestCopyCancelled(t *testing.T) {
	root := t.TempDir()
	plant(t, root, "in/a.mov", "l => in", "x?")
	if err := os.Truncate(root+"/in/a.mov", 40<<20); err != nil {
		t.Fatal(err)
	}
	age(t, root)
	before := snapshot(t, root)
	p := mustPlan(t, root, limits{})
	if err := p.Replace("l", true); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	_, err := p.Apply(ctx, Options{Progress: func(at Progress) {
		if at.AllBytes != 40<<20 || at.Total != 2 {
			t.Errorf("%+v", at)
		}
		if at.Bytes > 10<<20 {
			cancel()
		}
	}})
	if !errors.Is(err, context.Canceled) {
		t.Fatal(err)
	}
	var stopped *StoppedError
	if errors.As(err, &stopped) {
		t.Errorf("nothing was changed, but: %v", err)
	}
	same(t, "after", snapshot(t, root), before)
}

// at ends the program where a hook is called for the nth time.
func at(point string, n int, do func()) func(string) {
	return func(p string) {
		if p == point {
			if n--; n == 0 {
				do()
			}
		}
	}
}

func crashAt(t *testing.T, p *Plan, point string) (journal string) {
	t.Helper()
	crashing(1<<30, func(func(string)) {
		_, err := p.Apply(context.Background(), Options{test: rig{hook: at(point, 1, func() { panic(crash{}) })}})
		t.Errorf("%s was not reached: %v", point, err)
	})
	all, err := Journals(p.Source, "")
	if err != nil || len(all) != 1 {
		t.Fatalf("%d journals, %v", len(all), err)
	}
	return all[0].Path
}

// TestLostMeanwhile: what was copied is gone after a crash. The copy is all that is left of it, so
// it takes its place whichever way one goes.
func TestLostMeanwhile(t *testing.T) {
	for name, do := range map[string]func(context.Context, string, Options) (*Outcome, error){"resume": Resume, "undo": Undo} {
		root, outside := plantCopies(t)
		p := mustPlan(t, root, limits{})
		if err := p.Replace("outside", true); err != nil {
			t.Fatal(err)
		}
		want := followed(t, outside)
		journal := crashAt(t, p, "rename") // the copy is whole, the link has gone
		if err := os.RemoveAll(outside); err != nil {
			t.Fatal(err)
		}
		out, err := do(context.Background(), journal, Options{})
		if err != nil {
			t.Fatal(err)
		}
		if name == "undo" && (len(out.Stayed) != 1 || out.Stayed[0].Path != "outside") {
			t.Errorf("undo: %+v", out)
		}
		same(t, name, snapshot(t, root+"/outside"), want)
	}
}

// TestPlaceTaken: after a crash in the middle of copying something else stands where the link was.
// It is left alone, and the half of a copy goes.
func TestPlaceTaken(t *testing.T) {
	root, outside := plantCopies(t)
	p := mustPlan(t, root, limits{})
	if err := p.Replace("outside", true); err != nil {
		t.Fatal(err)
	}
	journal := crashAt(t, p, "written")
	if err := errors.Join(os.Remove(root+"/outside"), os.WriteFile(root+"/outside", []byte("mine"), 0o644)); err != nil {
		t.Fatal(err)
	}
	out, err := Undo(context.Background(), journal, Options{})
	if err != nil || len(out.Stayed) != 1 {
		t.Fatalf("%+v, %v", out, err)
	}
	if b, err := os.ReadFile(root + "/outside"); err != nil || string(b) != "mine" {
		t.Errorf("%q, %v", b, err)
	}
	if left, err := filepath.Glob(root + "/.loadline*"); err != nil || len(left) > 0 {
		t.Errorf("left behind: %q, %v; %s", left, err, outside)
	}
}

// TestArchiveNameTaken: a file that has come up since is never written over.
func TestArchiveNameTaken(t *testing.T) {
	for _, when := range []string{"before", "packed"} {
		root, _ := plantCopies(t)
		p := mustPlan(t, root, limits{})
		if err := p.Archive(copyCard, true); err != nil {
			t.Fatal(err)
		}
		come := func() {
			if err := os.WriteFile(root+"/day/PRIVATE.tar", []byte("mine"), 0o644); err != nil {
				t.Fatal(err)
			}
		}
		var o Options
		if when == "before" {
			come()
		} else {
			o.test.hook = at("written", 1, come)
		}
		if _, err := p.Apply(context.Background(), o); !errors.Is(err, ErrChanged) {
			t.Errorf("%s: %v", when, err)
		}
		if b, err := os.ReadFile(root + "/day/PRIVATE.tar"); err != nil || string(b) != "mine" {
			t.Errorf("%s: %q, %v", when, b, err)
		}
		if left, err := filepath.Glob(root + "/*/.loadline*"); err != nil || len(left) > 0 {
			t.Errorf("%s: left behind %q, %v", when, left, err)
		}
	}
}

// TestReadBack: a disk that gives back something else than was written is found out before the copy
// takes the place of the link.
func TestReadBack(t *testing.T) {
	root, _ := plantCopies(t)
	before := snapshot(t, root)
	p := mustPlan(t, root, limits{})
	if err := p.Replace("outside", true); err != nil {
		t.Fatal(err)
	}
	_, err := p.Apply(context.Background(), Options{test: rig{hook: at("written", 1, func() {
		made, err := filepath.Glob(root + "/.loadline-moving-*/d.mov")
		if err != nil || len(made) != 1 {
			t.Fatalf("%q, %v", made, err)
		}
		info, err := os.Stat(made[0])
		if err != nil {
			t.Fatal(err)
		}
		b, err := os.ReadFile(made[0])
		if err != nil {
			t.Fatal(err)
		}
		b[len(b)-1] ^= 0x80
		if err := errors.Join(os.WriteFile(made[0], b, 0o644), os.Chtimes(made[0], info.ModTime(), info.ModTime())); err != nil {
			t.Fatal(err)
		}
	})}})
	if !errors.Is(err, errReadBack) {
		t.Error(err)
	}
	same(t, "after", snapshot(t, root), before)
}

// TestTargetChanges: what is written to while it is copied is not taken for a copy.
func TestTargetChanges(t *testing.T) {
	root := t.TempDir()
	plant(t, root, "in/a.mov", "in/b.mov", "l => in")
	p := mustPlan(t, root, limits{})
	if err := p.Replace("l", true); err != nil {
		t.Fatal(err)
	}
	_, err := p.Apply(context.Background(), Options{test: rig{hook: func(point string) {
		if point == "make" {
			if err := os.WriteFile(root+"/in/b.mov", []byte("and more, much more"), 0o644); err != nil {
				t.Error(err)
			}
		}
	}}})
	if !errors.Is(err, ErrChanged) {
		t.Fatal(err)
	}
	if target, err := os.Readlink(root + "/l"); err != nil || target != "in" {
		t.Errorf("the link: %q, %v", target, err)
	}
}

// TestAnyLinks: whatever links a tree has, replacing all that is offered gives what cp -RL gives, and
// undo gives the tree back.
func TestAnyLinks(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		root, err := os.MkdirTemp(quick(t), "")
		if err != nil {
			rt.Fatal(err)
		}
		defer os.RemoveAll(root)
		dirs := []string{"a", "a/b", "c", "."}
		for i := range rapid.IntRange(1, 6).Draw(rt, "files") {
			dir := rapid.SampledFrom(dirs).Draw(rt, "dir")
			plant(t, root, "a/b/", "c/", fmt.Sprintf("%s/f%d", dir, i))
		}
		for i := range rapid.IntRange(1, 6).Draw(rt, "links") {
			dir := rapid.SampledFrom(dirs).Draw(rt, "at")
			target := rapid.SampledFrom([]string{"a", "b", "../c", "../a", "../../c", "f1", "../f2", "a/f3", "l0", "../l1", "../a/l2", root + "/c"}).Draw(rt, "to")
			if err := os.Symlink(target, filepath.Join(root, dir, fmt.Sprintf("l%d", i))); err != nil {
				rt.Fatal(err)
			}
		}
		age(t, root)
		before := snapshot(t, root)
		p := mustPlan(t, root, limits{})
		wanted := map[string]map[string]string{}
		for i := range p.Left {
			l := &p.Left[i]
			if !slices.Contains(l.Offers, OfferReplace) {
				continue
			}
			if err := p.Replace(l.Path, true); err != nil {
				rt.Fatal(err)
			}
			// One alone, so that what cannot be copied keeps no other from it.
			if _, err := p.Estimate(context.Background()); err != nil {
				if err := p.Replace(l.Path, false); err != nil {
					rt.Fatal(err)
				}
				continue
			}
			wanted[l.Path] = followed(t, root+"/"+l.Path)
			if len(wanted) == 1 {
				break
			}
		}
		o := Options{StateDir: t.TempDir()}
		out, err := p.Apply(context.Background(), o)
		if err != nil {
			rt.Fatal(err)
		}
		if out.Made != len(wanted) {
			rt.Fatalf("%+v, wanted %d", out, len(wanted))
		}
		for path, want := range wanted {
			same(t, path, snapshot(t, root+"/"+path), want)
		}
		if out.Journal == "" {
			return
		}
		back, err := Undo(context.Background(), out.Journal, o)
		if err != nil || len(back.Stayed)+len(back.Gone)+len(back.Dates) > 0 {
			rt.Fatalf("%+v, %v", back, err)
		}
		same(t, "after undo", snapshot(t, root), before)
	})
}

// FuzzTallyArchive: whatever a file holds, passing over content by seeking tells the same as reading
// it.
func FuzzTallyArchive(f *testing.F) {
	root := f.TempDir()
	plant(f, root, "DCIM/100ABCDE/a.jpg", "DCIM/link => 100ABCDE")
	var b bytes.Buffer
	if _, err := pack(context.Background(), &b, root+"/DCIM", "DCIM", func(int64) {}); err != nil {
		f.Fatal(err)
	}
	f.Add(b.Bytes())
	f.Fuzz(func(t *testing.T, data []byte) {
		got, err := archiveInventory(context.Background(), newSeekBuffer(bytes.NewReader(data)), "DCIM")
		plain, perr := archiveInventory(context.Background(), bytes.NewBuffer(data), "DCIM") // cannot seek
		if (err == nil) != (perr == nil) || err == nil && got != plain {
			t.Errorf("%+v, %v and %+v, %v", got, err, plain, perr)
		}
		if err == nil && (got.Files < 0 || got.Bytes < 0) {
			t.Errorf("%+v", got)
		}
	})
}
