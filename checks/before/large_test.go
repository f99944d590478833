//go:build linux && !race

package before

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"loadline/checks"
)

// TestHugeFolder: 100,000 entries are fine, one more is not; 100,002 twins of case are all found.
func TestHugeFolder(t *testing.T) {
	root, err := os.MkdirTemp("/dev/shm", "loadline-huge-")
	if err != nil {
		t.Fatal(err)
	}
	defer os.RemoveAll(root)
	fill := func(dir string, n int, name func(i int) string) {
		t.Helper()
		grow(t, root, dir+"/")
		fd, err := unix.Open(filepath.Join(root, dir), unix.O_DIRECTORY|unix.O_RDONLY, 0)
		if err != nil {
			t.Fatal(err)
		}
		defer unix.Close(fd)
		for i := range n {
			if err := unix.Symlinkat(".", fd, name(i)); err != nil {
				t.Fatal(err)
			}
		}
	}
	grow(t, root, "a 1")
	fill("fine", 100_000, strconv.Itoa)
	fill("huge", 100_001, strconv.Itoa)
	fill("twins", 100_002, func(i int) string { return fmt.Sprintf("%s%06d", []string{"a", "A"}[i%2], i/2) })
	rep := examine(t, checks.Job{Source: root, Expect: 300_000})
	compare(t, "the tree", spots(rep, hugeFolder), map[spot]bool{{"huge-folder", "huge"}: true, {"huge-folder", "twins"}: true})
	if n := count(rep, caseTwins); n != 100_002 {
		t.Errorf("%d case twins, want 100,002", n)
	}
	if n := count(rep, linkInside); n != rep.Totals.Links || n != 300_003 {
		t.Errorf("%d links inside, %d in all", n, rep.Totals.Links)
	}
}

// TestEveryKindOfName puts every odd name into one folder, once as each kind of entry, and once alone.
func TestEveryKindOfName(t *testing.T) {
	root := realTemp(t)
	for kind := range 5 {
		dir := filepath.Join(root, fmt.Sprintf("kind%d", kind))
		if err := os.Mkdir(dir, 0o755); err != nil {
			t.Fatal(err)
		}
		for _, n := range oddNames() {
			plant(t, dir, n, kind)
			alone := filepath.Join(root, "alone", strconv.Itoa(kind), fmt.Sprintf("%x", n[:min(len(n), 40)]))
			if err := os.MkdirAll(alone, 0o755); err != nil {
				t.Fatal(err)
			}
			plant(t, alone, n, kind)
		}
	}
	grow(t, root)
	for _, prefix := range []string{"", "prefix/of/two"} {
		compareAgain(t, checks.Job{Source: root, Prefix: prefix})
	}
}

// TestPathchkOnTrees asks pathchk (coreutils) about the names of a tree: -p for the portable set and
// 14 bytes, -P for a leading hyphen.
func TestPathchkOnTrees(t *testing.T) {
	root := realTemp(t)
	for _, n := range oddNames() {
		plant(t, root, n, 0)
	}
	grow(t, root)
	rep := examine(t, checks.Job{Source: root})
	refused := func(option, name string) bool {
		cmd := exec.Command("pathchk", option, "--", name)
		cmd.Dir = root
		err := cmd.Run()
		if _, exit := err.(*exec.ExitError); err != nil && !exit { //nolint:errorlint // exec says which
			t.Fatalf("pathchk of coreutils is needed: %v", err)
		}
		return err != nil
	}
	hyphens, basic := map[spot]bool{}, map[spot]bool{}
	long := int64(0)
	entries, err := os.ReadDir(root)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		n := e.Name()
		if refused("-P", n) {
			hyphens[spot{leadingHyphen.ID, n}] = true
		}
		if len(n) > 14 {
			long++
		}
		// A name over the length alone is refused as well: ask about what fits.
		for i := 0; i < len(n); i += 14 {
			if refused("-p", n[i:min(i+14, len(n))]) {
				basic[spot{notPortable.ID, n}] = true
			}
		}
	}
	compare(t, "pathchk -P", spots(rep, leadingHyphen), hyphens)
	compare(t, "pathchk -p", spots(rep, notPortable), basic)
	if got := count(rep, overPosixName); got != long {
		t.Errorf("over-posix-name counted %d, want %d", got, long)
	}
}

// TestAttributesOfALargeDisk: over 20,000 entries are asked by sample, but a folder where one of the
// sample has attributes is asked whole, whichever worker comes first. The oracle is what setxattr(2)
// was told.
func TestAttributesOfALargeDisk(t *testing.T) {
	const folders, files = 50, 500
	root := realTemp(t)
	want := map[spot]bool{}
	for i := range folders {
		dir := fmt.Sprintf("reel-%02d", i)
		if err := os.Mkdir(filepath.Join(root, dir), 0o755); err != nil {
			t.Fatal(err)
		}
		for j := range files {
			rel := fmt.Sprintf("%s/clip-%04d.mov", dir, j)
			p := filepath.Join(root, rel)
			if err := os.WriteFile(p, []byte("x"), 0o644); err != nil {
				t.Fatal(err)
			}
			// Nearly all of one folder, as a program would tag them.
			if i == 17 && j%20 != 3 {
				if err := unix.Setxattr(p, "user.tag", []byte("x"), 0); err != nil {
					t.Fatal(err)
				}
				want[spot{extendedAttributes.ID, rel}] = true
			}
		}
	}
	for _, all := range []bool{false, true} {
		for _, workers := range []int{1, 4} {
			rep := examine(t, checks.Job{
				Source: root, Workers: workers, AllAttributes: all,
				Now: func() time.Time { return time.Now().AddDate(1, 0, 0) }, // so that no file is young
			})
			compare(t, "setxattr", spots(rep, extendedAttributes), want)
			noted := spots(rep, attributesSampled)
			if _, ok := noted[spot{attributesSampled.ID, ""}]; ok == all || len(noted) > 1 {
				t.Errorf("all=%v: the note on the sample is %v", all, noted)
			}
		}
	}
}
