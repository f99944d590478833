package fix

import (
	"bytes"
	"context"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// copyTree has links of every sort that can be replaced, and a card with a flagged name.
var copyTree = []string{
	"d?/target.mov", "d?/e/link.mov => ../target.mov",
	"d?/takes/one/a.mov", "d?/takes/b.mov", "d?/takes/empty/", "d?/takes/inner => one", "d?/takes/again.mov => b.mov",
	"sets => d?/takes",
	"day/PRIVATE/AVCHD/BDMV/STREAM/00000.MTS", "day/PRIVATE/AVCHD/BDMV/CLIPINF/00000.CPI", "day/PRIVATE/AVCHD/BDMV/why?.txt",
	"x?",
}

const copyCard = "day/PRIVATE"

// wantCopies asks for everything that copyTree offers, and one link to a folder outside.
func wantCopies(t testing.TB, root, outside string) *Plan {
	t.Helper()
	p := mustPlan(t, root, limits{})
	for _, link := range []string{"d?/e/link.mov", "sets", "outside"} {
		if err := p.Replace(link, true); err != nil {
			t.Fatal(err)
		}
	}
	if err := p.Archive(copyCard, true); err != nil {
		t.Fatal(err)
	}
	return p
}

// plantCopies makes the tree, and a folder outside that one of its links points to.
func plantCopies(t testing.TB) (root, outside string) {
	t.Helper()
	base := quick(t)
	root, outside = base+"/disk", base+"/elsewhere"
	plant(t, outside, "deep/er/c.mov", "d.mov")
	plant(t, root, append(copyTree, "outside => "+outside)...)
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
	p := mustPlan(t, root, limits{})
	if err := p.Archive("DCIM", true); err != nil {
		t.Fatal(err)
	}
	for i := range p.Steps {
		if err := p.Leave(i); err != nil {
			t.Fatal(err)
		}
	}
	w, err := p.Estimate(context.Background())
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
			p := mustPlan(t, root, limits{})
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
			p = mustPlan(t, root, limits{})
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
			if c := mustPlan(t, root, limits{}).Cards[0]; c.Archived || c.File != "DCIM-3.tar" {
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
		{"a target is gone", remove("/d_/target.mov"), []string{"d?/e/link.mov"}, "can no longer be read"},
		{"a folder is gone", remove("/../elsewhere"), []string{"outside"}, "can no longer be read"},
		{"a file in it is gone", remove("/../elsewhere/d.mov"), []string{"outside"}, "has changed since"},
		{"a bit of a target", write("/d_/target.mov"), []string{"d?/e/link.mov"}, "it has changed since"},
		{"a bit of a copy", write("/sets/one/a.mov"), []string{"sets"}, "it has changed since"},
		{"more in a copy", func(root string) error { return os.WriteFile(root+"/sets/new.mov", nil, 0o644) }, []string{"sets"}, "it has changed since"},
		{"the card is gone", remove("/day/PRIVATE"), []string{"day/PRIVATE.tar"}, "can no longer be read"},
		{"a bit of the archive", write("/day/PRIVATE.tar"), []string{"day/PRIVATE.tar"}, "it has changed since"},
		{"a bit of the card", write("/day/PRIVATE/AVCHD/BDMV/STREAM/00000.MTS"), []string{"day/PRIVATE.tar"}, "it has changed since"},
	} {
		t.Run(c.name, func(t *testing.T) {
			root, outside := plantCopies(t)
			p := wantCopies(t, root, outside)
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
