//go:build linux

package before

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"loadline/checks"
)

// TestUnreadable runs as an ordinary user, who may not read everything: find(1) with -readable and
// -executable, which ask access(2), is the oracle.
func TestUnreadable(t *testing.T) {
	if !ordinary(t) {
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
	for _, f := range resultOf(t, rep, permissions).Facts {
		if f.Key == "as_root" {
			t.Error("an ordinary user is said to be root")
		}
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
	if os.Getenv(roomMark) == "" {
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
	if !ordinary(t) {
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
