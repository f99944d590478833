package repair

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// makingTree has links of every sort that can be replaced, and a card with a flagged name.
var makingTree = []string{
	"d?/target.mov", "d?/e/link.mov => ../target.mov",
	"d?/takes/one/a.mov", "d?/takes/b.mov", "d?/takes/empty/", "d?/takes/inner => one", "d?/takes/again.mov => b.mov",
	"sets => d?/takes",
	"day/PRIVATE/AVCHD/BDMV/STREAM/00000.MTS", "day/PRIVATE/AVCHD/BDMV/CLIPINF/00000.CPI", "day/PRIVATE/AVCHD/BDMV/why?.txt",
	"x?",
}

const makingCard = "day/PRIVATE"

// wantMakings asks for everything that makingTree offers, and one link to a folder outside.
func wantMakings(t testing.TB, root, outside string) *Plan {
	t.Helper()
	p := mustPlan(t, root, Limits{})
	for _, link := range []string{"d?/e/link.mov", "sets", "outside"} {
		if err := p.Replace(link, true); err != nil {
			t.Fatal(err)
		}
	}
	if err := p.Archive(makingCard, true); err != nil {
		t.Fatal(err)
	}
	return p
}

// plantMakings makes the tree, and a folder outside that one of its links points to.
func plantMakings(t testing.TB) (root, outside string) {
	t.Helper()
	base := quick(t)
	root, outside = base+"/disk", base+"/elsewhere"
	plant(t, outside, "deep/er/c.mov", "d.mov")
	plant(t, root, append(makingTree, "outside => "+outside)...)
	return root, outside
}

// followed copies with the POSIX utility cp and tells what came out.
func followed(t testing.TB, path string) map[string]string {
	t.Helper()
	to := filepath.Join(t.TempDir(), "copy")
	if out, err := exec.Command("cp", "-RLp", path, to).CombinedOutput(); err != nil {
		t.Fatalf("cp: %v\n%s", err, out)
	}
	return snapshot(t, to)
}

// TestMakings puts copies in the place of links and a card into an archive, stops at every step,
// goes on or back, and always ends with what cp and tar make of the same tree, or with the tree as
// it was.
func TestMakings(t *testing.T) {
	for _, r := range []rig{{}, {plain: true}, {passing: true}} {
		for _, goBack := range []bool{false, true} {
			t.Run(fmt.Sprintf("plain=%v,passing=%v,back=%v", r.plain, r.passing, goBack), func(t *testing.T) {
				for point := 0; crashMakings(t, r, point, goBack); point++ {
				}
			})
		}
	}
}

func crashMakings(t *testing.T, r rig, point int, goBack bool) (crashed bool) {
	root, outside := plantMakings(t)
	before := snapshot(t, root)
	wanted := map[string]map[string]string{
		"d_/e/link.mov": followed(t, root+"/d?/target.mov"),
		"sets":          followed(t, root+"/d?/takes"),
		"outside":       followed(t, outside),
	}
	card := followed(t, root+"/"+makingCard)
	p := wantMakings(t, root, outside)
	o := Options{StateDir: t.TempDir(), test: r}
	crashed = crashing(point, func(hook func(string)) {
		o := o
		o.test.hook = hook
		if out, err := p.Apply(context.Background(), o); err != nil || out.Made != 4 || out.Done != 2 {
			t.Fatalf("%+v, %v", out, err)
		}
	})
	all, err := Journals(root, o.StateDir)
	if err != nil {
		t.Fatal(err)
	}
	if len(all) > 0 {
		if !goBack {
			if _, err := Resume(context.Background(), all[0].Path, o); err != nil {
				t.Fatalf("point %d: %v", point, err)
			}
			for path, want := range wanted {
				same(t, fmt.Sprintf("point %d: %s", point, path), snapshot(t, root+"/"+path), want)
			}
			same(t, "the card, unpacked", unpacked(t, root+"/"+makingCard+archiveEnding, "PRIVATE"), card)
		}
		out, err := Undo(context.Background(), all[0].Path, o)
		if err != nil || len(out.Gone)+len(out.Dates)+len(out.Stayed) > 0 {
			t.Fatalf("point %d: %+v, %v", point, out, err)
		}
	}
	after := snapshot(t, root)
	if len(all) == 0 {
		after[""] = before[""] // see recoverFrom
	}
	same(t, fmt.Sprintf("point %d: after undo", point), after, before)
	return crashed
}

// unpacked unpacks with the utility tar and tells what came out.
func unpacked(t testing.TB, archive, top string) map[string]string {
	t.Helper()
	dir := t.TempDir()
	if out, err := exec.Command("tar", "-xpf", archive, "-C", dir).CombinedOutput(); err != nil {
		t.Fatalf("tar: %v\n%s", err, out)
	}
	return snapshot(t, dir+"/"+top)
}

// TestArchiveNames: any name, and a link, come out of the archive as they went in, by GNU tar and by
// the POSIX utility pax as Debian has it.
func TestArchiveNames(t *testing.T) {
	root := t.TempDir()
	long := strings.Repeat("long name ", 15)
	plant(t, root, "DCIM/100ABCDE/bad\xff.jpg", "DCIM/100ABCDE/line\nbreak.jpg", "DCIM/"+long+"/"+long+"/"+long+".mov",
		"DCIM/字.mov", "DCIM/link\xfe => 100ABCDE/bad\xff.jpg", "DCIM/-x", "DCIM/empty/")
	want := snapshot(t, root+"/DCIM")
	p := mustPlan(t, root, Limits{})
	if err := p.Archive("DCIM", true); err != nil {
		t.Fatal(err)
	}
	for i := range p.Steps {
		if err := p.Leave(i); err != nil {
			t.Fatal(err)
		}
	}
	w, err := p.Weigh(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	mustApply(t, p)
	info, err := os.Stat(root + "/DCIM.tar")
	if err != nil || info.Size() != w.Bytes-perFile {
		t.Fatalf("the archive has %d bytes, weighed as %d: %v", info.Size(), w.Bytes-perFile, err)
	}
	same(t, "unpacked by tar", unpacked(t, root+"/DCIM.tar", "DCIM"), want)
	same(t, "the card", snapshot(t, root+"/DCIM"), want)
}

// TestArchivedCard: once the archive is there, lists have it in place of the card, whoever made it;
// not when the card has changed since.
func TestArchivedCard(t *testing.T) {
	for _, by := range []string{"plan", "pax", "tar"} {
		t.Run(by, func(t *testing.T) {
			root := t.TempDir()
			plant(t, root, "DCIM/100ABCDE/a:b.jpg", "DCIM/100ABCDE/c.jpg", "DCIM/.DS_Store", "DCIM.TAR", "ok.mov")
			p := mustPlan(t, root, Limits{})
			if c := p.Cards[0]; c.File != "DCIM-2.tar" || c.Archived {
				t.Fatalf("%+v", c)
			}
			switch by {
			case "plan":
				if err := p.Archive("DCIM", true); err != nil {
					t.Fatal(err)
				}
				mustApply(t, p)
			case "pax":
				command := exec.Command("sh", "-c", strings.Replace(p.Cards[0].Command(), "-x pax", "-x ustar", 1))
				command.Dir = root
				if out, err := command.CombinedOutput(); err != nil {
					t.Fatalf("%v\n%s", err, out)
				}
			case "tar":
				if out, err := exec.Command("tar", "-cf", root+"/DCIM-2.tar", "-C", root, "DCIM").CombinedOutput(); err != nil {
					t.Fatalf("%v\n%s", err, out)
				}
			}
			p = mustPlan(t, root, Limits{})
			if c := p.Cards[0]; c.File != "DCIM-2.tar" || !c.Archived {
				t.Fatalf("%+v", c)
			}
			if err := p.Archive("DCIM", true); err == nil {
				t.Error("archived twice")
			}
			for _, l := range p.Left {
				if l.Card != nil && (slices.Contains(l.Offers, OfferArchive) || !strings.Contains(l.Why, "DCIM-2.tar")) {
					t.Errorf("%+v", l)
				}
			}
			var copied bytes.Buffer
			lists, err := p.WriteLists(context.Background(), &copied, nil, false)
			if err != nil {
				t.Fatal(err)
			}
			same(t, "copy list", copied.String(), "DCIM-2.tar\nDCIM.TAR\nok.mov\n")
			if lists.Why["archived"].Files != 3 {
				t.Errorf("%+v", lists.Why)
			}
			if err := os.WriteFile(root+"/DCIM/100ABCDE/c.jpg", []byte("another shot"), 0o644); err != nil {
				t.Fatal(err)
			}
			if c := mustPlan(t, root, Limits{}).Cards[0]; c.Archived || c.File != "DCIM-3.tar" {
				t.Errorf("after a change: %+v", c)
			}
		})
	}
}

// TestStays: undo takes nothing away that is not elsewhere, byte for byte.
func TestStays(t *testing.T) {
	write := func(path string) func(root string) error {
		return func(root string) error {
			info, err := os.Stat(root + path)
			if err != nil {
				return err
			}
			b, err := os.ReadFile(root + path)
			if err != nil {
				return err
			}
			b[0] ^= 1 // one bit, same size, same date
			return errors.Join(os.WriteFile(root+path, b, 0o644), os.Chtimes(root+path, info.ModTime(), info.ModTime()))
		}
	}
	remove := func(path string) func(string) error {
		return func(root string) error { return os.RemoveAll(root + path) }
	}
	for _, c := range []struct {
		name  string
		spoil func(root string) error
		stays []string
		why   string
	}{
		{"nothing", func(string) error { return nil }, nil, ""},
		{"a target is gone", remove("/d_/target.mov"), []string{"d?/e/link.mov"}, "cannot be read any more"},
		{"a folder is gone", remove("/../elsewhere"), []string{"outside"}, "cannot be read any more"},
		{"a file in it is gone", remove("/../elsewhere/d.mov"), []string{"outside"}, "has changed since"},
		{"a bit of a target", write("/d_/target.mov"), []string{"d?/e/link.mov"}, "it has changed since"},
		{"a bit of a copy", write("/sets/one/a.mov"), []string{"sets"}, "it has changed since"},
		{"more in a copy", func(root string) error { return os.WriteFile(root+"/sets/new.mov", nil, 0o644) }, []string{"sets"}, "it has changed since"},
		{"the card is gone", remove("/day/PRIVATE"), []string{"day/PRIVATE.tar"}, "cannot be read any more"},
		{"a bit of the archive", write("/day/PRIVATE.tar"), []string{"day/PRIVATE.tar"}, "it has changed since"},
		{"a bit of the card", write("/day/PRIVATE/AVCHD/BDMV/STREAM/00000.MTS"), []string{"day/PRIVATE.tar"}, "it has changed since"},
	} {
		t.Run(c.name, func(t *testing.T) {
			root, outside := plantMakings(t)
			p := wantMakings(t, root, outside)
			journal := mustApply(t, p).Journal
			if err := c.spoil(root); err != nil {
				t.Fatal(err)
			}
			here := snapshot(t, root)
			out, err := Undo(context.Background(), journal, Options{})
			if err != nil {
				t.Fatal(err)
			}
			var stayed []string
			for _, s := range out.Stayed {
				stayed = append(stayed, s.Path)
				if !strings.Contains(s.Why, c.why) {
					t.Errorf("%s stays because %s", s.Path, s.Why)
				}
				// What stays is untouched, under the name that it had before the renames.
				then := strings.Replace(s.Path, "d?", "d_", 1)
				if now := snapshot(t, root)[s.Path]; now != here[then] {
					t.Errorf("%s holds %q, held %q", s.Path, now, here[then])
				}
			}
			same(t, "stayed", stayed, c.stays)
			if out.Made != 4-len(c.stays) || out.Done != 2 {
				t.Errorf("outcome %+v", out)
			}
			if left, err := filepath.Glob(root + "/.loadline*"); err != nil || len(left) > 0 {
				t.Errorf("left behind: %q, %v", left, err)
			}
		})
	}
}

// TestCannotCopy: what cannot be copied whole is refused before anything changes.
func TestCannotCopy(t *testing.T) {
	for _, c := range []struct{ name, tree, link, want string }{
		{"circle", "in/deep/up => ..", "l => in", "leads in a circle"},
		{"itself", "in/back => ../home", "home/l => ../in", "hold itself"},
		{"dangling", "in/gone => nowhere", "l => in", "cannot look at"},
		{"locked", "in/locked => loop", "in/loop => locked", ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			root := t.TempDir()
			link, _, _ := strings.Cut(c.link, " ")
			plant(t, root, "in/a.mov", c.tree, c.link, "home/b.mov")
			before := snapshot(t, root)
			p := mustPlan(t, root, Limits{})
			if err := p.Replace(link, true); c.want == "" {
				if err == nil {
					t.Fatal("a link that leads nowhere was taken")
				}
				return
			} else if err != nil {
				t.Fatal(err)
			}
			if _, err := p.Weigh(context.Background()); err == nil || !strings.Contains(err.Error(), c.want) {
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
		p := mustPlan(t, root, Limits{})
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
	p := mustPlan(t, root, Limits{})
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
		root, outside := plantMakings(t)
		p := mustPlan(t, root, Limits{})
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
	root, outside := plantMakings(t)
	p := mustPlan(t, root, Limits{})
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
		root, _ := plantMakings(t)
		p := mustPlan(t, root, Limits{})
		if err := p.Archive(makingCard, true); err != nil {
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
	root, _ := plantMakings(t)
	before := snapshot(t, root)
	p := mustPlan(t, root, Limits{})
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
	p := mustPlan(t, root, Limits{})
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
		p := mustPlan(t, root, Limits{})
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
			if _, err := p.Weigh(context.Background()); err != nil {
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
		got, err := tallyArchive(context.Background(), newSeekBuffer(bytes.NewReader(data)), "DCIM")
		plain, perr := tallyArchive(context.Background(), bytes.NewBuffer(data), "DCIM") // cannot seek
		if (err == nil) != (perr == nil) || err == nil && got != plain {
			t.Errorf("%+v, %v and %+v, %v", got, err, plain, perr)
		}
		if err == nil && (got.Files < 0 || got.Bytes < 0) {
			t.Errorf("%+v", got)
		}
	})
}
