//go:build linux

package before

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"golang.org/x/sys/unix"

	"loadline/checks"
	"loadline/checks/internal/fixture"
)

// foreignDisks are file systems of other systems that a source disk may have. Each is made empty,
// mounted through FUSE, and given every odd name that it takes.
var foreignDisks = []struct {
	name  string
	mkfs  []string
	mount []string
	size  int64
	// takes and refuses are names that its specification allows and forbids.
	takes, refuses []string
}{
	{
		// The exFAT specification, table of invalid file name characters (from memory).
		"exfat",
		[]string{"mkfs.exfat"},
		[]string{"mount.exfat-fuse"},
		32 << 20,
		[]string{"A001.mov", "字", "caf\u00e9", "cafe\u0301 2", strings.Repeat("字", 255), "con", "a b", "\u212a", "._x", "[b]"},
		[]string{"a:b", "a*b", `a"b`, "a?b", "a<b", "a>b", "a|b", `a\b`, "a\x01b"},
	},
	{
		// ntfs-3g(8): the POSIX name space takes everything but NUL and the slash.
		"ntfs",
		[]string{"mkfs.ntfs", "-q", "-F", "-f"},
		[]string{"ntfs-3g"},
		32 << 20,
		[]string{"A001.mov", "a001.MOV", "字", "caf\u00e9", "cafe\u0301", strings.Repeat("字", 255), "con", "a:b", "a*b", "a?b", "a\nb", "e.", "e", "\u202ex"},
		[]string{strings.Repeat("字", 256)},
	},
}

// TestForeignDisks judges sources that count names in UTF-16 units, do not tell case apart, or know no
// owners, by the second implementation.
func TestForeignDisks(t *testing.T) {
	if !fixture.Room(t) {
		return
	}
	base := realTemp(t)
	for _, d := range foreignDisks {
		img := fixture.Image(t, d.size, d.mkfs...)
		at := filepath.Join(base, d.name)
		if err := os.Mkdir(at, 0o755); err != nil {
			t.Fatal(err)
		}
		fixture.Command(t, "/", d.mount[0], append(d.mount[1:], fixture.Loop(t, img), at)...)
		defer func() { _ = unix.Unmount(at, unix.MNT_DETACH) }()
		dir := filepath.Join(at, "names")
		if err := os.Mkdir(dir, 0o755); err != nil {
			t.Fatal(err)
		}
		made := func(n string) bool {
			err := os.WriteFile(filepath.Join(dir, n), []byte("x"), 0o644)
			return err == nil
		}
		for _, n := range d.takes {
			if !made(n) {
				t.Errorf("%s does not take %q", d.name, n)
			}
		}
		for _, n := range d.refuses {
			if made(n) {
				t.Errorf("%s takes %q", d.name, n)
			}
		}
		for _, n := range oddNames() {
			if n == "." || n == ".." || strings.Contains(n, "/") || !validUTF8(n) {
				continue // exfat-fuse ends in an assertion where a name of dots or bytes is asked for
			}
			_ = made(n)
			if _, err := os.Lstat(at); err != nil {
				t.Fatalf("%s ended at %q: %v", d.name, n, err)
			}
		}
		grow(t, at)
		compareAgain(t, checks.Job{Source: at})
		got := spots(examine(t, checks.Job{Source: at}), nameTooLong)
		if _, ok := got[spot{nameTooLong.ID, "names/" + strings.Repeat("字", 255)}]; !ok {
			t.Errorf("%s: 255 characters of three bytes are not too long", d.name)
		}
		if errors.Is(unix.Unmount(at, 0), unix.EBUSY) {
			t.Errorf("%s: the checks hold the disk", d.name)
		}
	}
}

// TestForeignShare checks copying to an exFAT disk, which folds case and refuses characters: levels
// rise where the share was measured.
func TestForeignShare(t *testing.T) {
	if !fixture.Room(t) {
		return
	}
	base := realTemp(t)
	at := filepath.Join(base, "share")
	source := filepath.Join(base, "source")
	grow(t, source, "Wheel.tif 1", "wheel.tif 1", "a:b 1", `"what?" 1`, "good 1", `"\xff" 1`)
	if err := os.Mkdir(at, 0o755); err != nil {
		t.Fatal(err)
	}
	fixture.Command(t, "/", "mount.exfat-fuse", fixture.Loop(t, fixture.Image(t, 64<<20, "mkfs.exfat")), at)
	defer func() { _ = unix.Unmount(at, unix.MNT_DETACH) }()
	rep := examine(t, checks.Job{Source: source, Share: at})
	got := spots(rep)
	for s, level := range map[spot]checks.Level{
		{"folds-case", ""}: checks.Warn, {"case-twins", "Wheel.tif"}: checks.Fail, {"case-twins", "wheel.tif"}: checks.Fail,
		{"refuses-character", "a:b"}: checks.Fail, {"refuses-character", "what?"}: checks.Fail, {"refuses-character", "\xff"}: checks.Fail,
		{"reserved-character", "a:b"}: checks.Fail, {"reserved-character", "what?"}: checks.Fail, {"local-file-system", ""}: checks.Warn,
	} {
		if l, ok := got[s]; !ok || l != level {
			t.Errorf("%s: found %v, level %s, want %s", s, ok, l, level)
		}
	}
	for s := range got {
		if s.rule == "refuses-character" && (s.path == "good" || s.path == "Wheel.tif") {
			t.Errorf("%s", s)
		}
	}
	leftOn(t, at)
}
