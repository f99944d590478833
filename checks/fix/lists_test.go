package fix

import (
	"bytes"
	"context"
	"errors"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// TestListsShareOut: every entry but folders stands on exactly one of the lists, and everything on
// the copy list keeps the rules of level fail.
func TestListsShareOut(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		root, err := os.MkdirTemp(quick(t), "")
		if err != nil {
			rt.Fatal(err)
		}
		defer os.RemoveAll(root)
		drawTree(rt, root)
		p := mustPlan(t, root, limits{key: 200})
		var copyList, skipList bytes.Buffer
		sums, err := p.WriteLists(context.Background(), &copyList, &skipList, true)
		if err != nil {
			rt.Fatal(err)
		}
		var want []string
		err = filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
			if err == nil && !d.IsDir() {
				want = append(want, strings.TrimPrefix(path, root+"/"))
			}
			return err
		})
		if err != nil {
			rt.Fatal(err)
		}
		copied, skipped := lines(copyList.String()), lines(skipList.String())
		got := append(slices.Clone(copied), skipped...)
		slices.Sort(got)
		slices.Sort(want)
		if !slices.Equal(got, want) {
			rt.Fatalf("lists hold %q, the source %q", got, want)
		}
		if sums.Copy.Files != int64(len(copied)) || sums.Skip.Files != int64(len(skipped)) {
			rt.Fatalf("sums %+v of %d and %d", sums, len(copied), len(skipped))
		}
		for _, path := range copied {
			for part := range strings.SplitSeq(path, "/") {
				if bad := wellNamed(part, 255); bad == "not UTF-8" || bad == "length" || strings.ContainsAny(part, "\n\r\x01") {
					rt.Fatalf("%q is to be copied: %s", path, bad)
				}
			}
			if len(path) > 200 {
				rt.Fatalf("%q is to be copied: %d bytes", path, len(path))
			}
		}
	})
}

func lines(s string) []string {
	if s == "" {
		return nil
	}
	return strings.Split(strings.TrimSuffix(s, "\x00"), "\x00")
}

// TestPax: the POSIX utility pax copies exactly the copy list, as the documentation of WriteLists
// says (Debian's pax reads NUL-ended lists with -0, which is beyond POSIX).
func TestPax(t *testing.T) {
	for _, nul := range []bool{false, true} {
		root, share := t.TempDir(), t.TempDir()
		plant(t, root, "a b/c.mov", "a b/.DS_Store", "é.mov", " odd name ' \".mov", "skip/x.mov", "link => é.mov", "bad\xff.mov")
		p := mustPlan(t, root, limits{})
		p.Skip("skip", true)
		var list bytes.Buffer
		sums, err := p.WriteLists(context.Background(), &list, nil, nul)
		if err != nil {
			t.Fatal(err)
		}
		args := []string{"-rw", "-d"}
		if nul {
			args = append(args, "-0")
		}
		cmd := exec.Command("pax", append(args, share)...)
		cmd.Dir, cmd.Stdin = root, &list
		if out, err := cmd.CombinedOutput(); err != nil {
			t.Fatalf("pax: %v\n%s", err, out)
		}
		var got []string
		var bytes int64
		err = filepath.WalkDir(share, func(path string, d fs.DirEntry, err error) error {
			if err == nil && !d.IsDir() {
				info, err := d.Info()
				if err != nil {
					return err
				}
				bytes += info.Size()
				got = append(got, strings.TrimPrefix(path, share+"/"))
			}
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
		slices.Sort(got)
		same(t, "copied", got, []string{" odd name ' \".mov", "a b/c.mov", "é.mov"})
		if sums.Copy.Bytes != bytes {
			t.Errorf("the list sums %d bytes, %d were copied", sums.Copy.Bytes, bytes)
		}
	}
}

func TestLineBreaks(t *testing.T) {
	root := t.TempDir()
	plant(t, root, "a\nb/c.mov", "ok.mov")
	p := mustPlan(t, root, limits{})
	var copyList, skipList bytes.Buffer
	_, err := p.WriteLists(context.Background(), &copyList, &skipList, false)
	if !errors.Is(err, ErrLineBreak) || !strings.Contains(err.Error(), `"a\nb/c.mov"`) {
		t.Errorf("got %v", err)
	}
	if copyList.String() != "ok.mov\n" || skipList.Len() != 0 {
		t.Errorf("lists %q, %q", copyList.String(), skipList.String())
	}
}

// TestArchivePax runs the command that is offered for a card, with a pax that knows ustar only.
func TestArchivePax(t *testing.T) {
	root := t.TempDir()
	plant(t, root, "Day 1/it's/DCIM/100ABCDE/a:b.jpg")
	p := mustPlan(t, root, limits{})
	if len(p.Cards) != 1 {
		t.Fatalf("cards %+v", p.Cards)
	}
	command := strings.Replace(p.Cards[0].Command(), "-x pax", "-x ustar", 1)
	cmd := exec.Command("sh", "-c", command)
	cmd.Dir = root
	if out, err := cmd.CombinedOutput(); err != nil {
		t.Fatalf("%s: %v\n%s", command, err, out)
	}
	out, err := exec.Command("tar", "-tf", root+"/Day 1/it's/DCIM.tar").CombinedOutput()
	if err != nil || !strings.Contains(string(out), "DCIM/100ABCDE/a:b.jpg\n") {
		t.Errorf("tar: %v\n%s", err, out)
	}
}

func BenchmarkHolds(b *testing.B) {
	root := b.TempDir()
	tree := []string{"clip:1.mov"}
	for i := range 1000 {
		tree = append(tree, "clip"+strings.Repeat("x", i%50)+string(rune('a'+i/50))+".mov")
	}
	plant(b, root, tree...)
	p := mustPlan(b, root, limits{})
	for b.Loop() {
		if _, err := p.familyNames(0, "Harbour at night.mov"); err != nil {
			b.Fatal(err)
		}
	}
}
