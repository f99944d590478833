//go:build linux

package before

import (
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"loadline/checks"
	"loadline/checks/internal/fixture"
)

// TestUnreadable runs as an ordinary user, who may not read everything: find(1) with -readable and
// -executable, which ask access(2), is the oracle.
func TestUnreadable(t *testing.T) {
	if !fixture.Ordinary(t) {
		return
	}
	if os.Geteuid() == 0 {
		t.Fatal("the room is root's")
	}
	root := realTemp(t)
	tree := []string{
		"open/file 1", "closed/file 1", "closed/ mode=0000", "unlistable/file 1", "unlistable/ mode=0311",
		"unsearchable/file 1", "unsearchable/sub/inner 1", "unsearchable/link => file", "unsearchable/ mode=0444",
		"secret 1 mode=0000", "write-only 1 mode=0222", "others-only 1 mode=0044", "execute-only 1 mode=0111", "readable 1 mode=0400",
		"empty-secret 0 mode=0000", "open/deep/secret 1 mode=0000", "list 1", "list-less 1 mode=0000", "open/two == secret",
		"link-to-secret => secret", "pipe fifo mode=0000", `"new\nline" 1 mode=0000`, `"\xff" 1 mode=0000`,
	}
	grow(t, root, tree...)
	output(t, root, "setfacl", "-m", "u:12345:r", "list")
	rep := examine(t, checks.Job{Source: root})
	got := spots(rep, folderUnreadable, fileUnreadable, readError, vanished)

	want := map[spot]bool{}
	// find cannot list these either, so it does not look below them; what is below an unsearchable
	// one it lists by name alone.
	for s := range find(t, root, fileUnreadable.ID, "-type", "f", "!", "-readable") {
		want[s] = true
	}
	for s := range find(t, root, folderUnreadable.ID, "-type", "d", "!", "-readable") {
		want[s] = true
	}
	want[spot{fileUnreadable.ID, "unsearchable/file"}] = true
	want[spot{fileUnreadable.ID, "unsearchable/link"}] = true
	want[spot{folderUnreadable.ID, "unsearchable/sub"}] = true
	compare(t, "find ! -readable", got, want)
	for _, s := range []spot{{folderUnreadable.ID, "closed"}, {folderUnreadable.ID, "unlistable"}, {fileUnreadable.ID, "secret"}, {fileUnreadable.ID, "open/two"}} {
		if !want[s] {
			t.Errorf("find does not say %s", s)
		}
	}
	if rep.Verdict != checks.Failed {
		t.Errorf("verdict %s", rep.Verdict)
	}
	if rep.Result(permissions.ID).Fact("as_root").Key != "" {
		t.Error("an ordinary user is said to be root")
	}

	// A source that cannot be listed, or is not there, cannot be checked at all.
	for _, name := range []string{"closed", "unlistable", "closed/inner", "secret", "missing"} {
		_, err := checks.Run(t.Context(), checks.Job{Source: filepath.Join(root, name)}, List(), nil)
		if err == nil || !strings.Contains(err.Error(), "cannot check") {
			t.Errorf("source %s: %v", name, err)
		}
	}
	// The writer's own folder that lets nobody write.
	if err := os.Mkdir(filepath.Join(root, "shut"), 0o555); err != nil {
		t.Fatal(err)
	}
	if rep, err := checks.Run(t.Context(), checks.Job{Source: filepath.Join(root, "open"), Share: filepath.Join(root, "shut")}, List(), nil); err != nil || rep.Verdict != checks.Failed {
		t.Errorf("a share without permission: %v %v", rep, err)
	}
	for _, p := range []string{"closed", "unlistable", "unsearchable", "shut"} {
		if err := os.Chmod(filepath.Join(root, p), 0o755); err != nil {
			t.Fatal(err)
		}
	}
}

// TestSecretShare lets an ordinary user check a mount that is root's.
func TestSecretShare(t *testing.T) {
	share := t.Name()
	if !fixture.InRoom(t) {
		dir, err := os.MkdirTemp("/dev/shm", "loadline-share-")
		if err != nil {
			t.Fatal(err)
		}
		defer os.RemoveAll(dir)
		if err := os.Chmod(dir, 0o755); err != nil {
			t.Fatal(err)
		}
		t.Setenv(share, dir)
	}
	if !fixture.Ordinary(t) {
		return
	}
	root := realTemp(t)
	grow(t, root, "file 1")
	rep := examine(t, checks.Job{Source: root, Share: os.Getenv(share)})
	expectWhole(t, rep, "local-file-system", "share-denied")
	leftOn(t, os.Getenv(share))
}

// Seen as root, the check says that it proves little.
func TestAsRoot(t *testing.T) {
	root := realTemp(t)
	grow(t, root, "secret 1 mode=0000")
	rep := examine(t, checks.Job{Source: root})
	if os.Geteuid() == 0 && !fact[bool](t, rep, permissions, "as_root") {
		t.Error("root is not said to be root")
	}
}

// TestClosedClutter guards the root of a disk that a Mac has used: the clutter folders there are closed to
// everybody (measured), and no reason to call the disk unreadable. Beside them, what is footage still is.
func TestClosedClutter(t *testing.T) {
	if !fixture.Ordinary(t) {
		return
	}
	root := realTemp(t)
	closed := []string{".DocumentRevisions-V100", ".Spotlight-V100", ".TemporaryItems", ".Trashes", ".fseventsd"}
	grow(t, root, "day-1/clip.mov 10")
	for _, name := range closed {
		grow(t, root, name+"/ mode=0000")
	}
	grow(t, root, ".DS_Store 1 mode=0000", ".Trash-1000/old.mov 5 mode=0000")
	rep := examine(t, checks.Job{Source: root})
	r := rep.Result(permissions.ID)
	if r.Status != checks.Passed || len(r.Findings) != len(closed)+2 {
		t.Errorf("%s with %d findings: %s", r.Status, len(r.Findings), r.Summary)
	}
	for _, f := range r.Findings {
		if f.Level != checks.Note || f.Remedy == "" {
			t.Errorf("%s is a %s: %s", f.Path, f.Level, f.Fix())
		}
	}
	grow(t, root, "day-1/secret.mov 1 mode=0000", "Spotlight/ mode=0000")
	rep = examine(t, checks.Job{Source: root})
	compare(t, "what is footage", spots(rep, folderUnreadable, fileUnreadable), map[spot]bool{
		{fileUnreadable.ID, "day-1/secret.mov"}: true, {folderUnreadable.ID, "Spotlight"}: true,
		{folderUnreadable.ID, ".DocumentRevisions-V100"}: true, {folderUnreadable.ID, ".Spotlight-V100"}: true,
		{folderUnreadable.ID, ".TemporaryItems"}: true, {folderUnreadable.ID, ".Trashes"}: true, {folderUnreadable.ID, ".fseventsd"}: true,
		{fileUnreadable.ID, ".DS_Store"}: true, {fileUnreadable.ID, ".Trash-1000/old.mov"}: true,
	})
	if r := rep.Result(permissions.ID); r.Status != checks.Failed {
		t.Errorf("%s although footage cannot be read", r.Status)
	}
	for _, name := range append(closed, "Spotlight") {
		if err := os.Chmod(filepath.Join(root, name), 0o755); err != nil {
			t.Fatal(err)
		}
	}
}

// What to do depends on who refuses: a Mac's consent answers EPERM, its file permissions EACCES (Apple's
// errno.h: 1 and 13).
func TestPrivacyRemedy(t *testing.T) {
	for _, c := range []struct {
		system string
		err    error
		names  bool
	}{
		{"darwin", &os.PathError{Op: "open", Path: "x", Err: syscall.EPERM}, true},
		{"darwin", syscall.EACCES, false},
		{"linux", syscall.EPERM, false},
		{"windows", syscall.EPERM, false},
	} {
		if got := privacyRemedy(c.system, c.err); strings.Contains(got, "Privacy & Security") != c.names {
			t.Errorf("%s, %v: %q", c.system, c.err, got)
		}
	}
}
