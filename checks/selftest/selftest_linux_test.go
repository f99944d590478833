package selftest

import (
	"context"
	"encoding/json"
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"strings"
	"testing"

	"golang.org/x/sys/unix"

	"loadline/checks/share"
)

// mounted mounts a file system of a kind and returns where.
func mounted(t *testing.T, kind string, mkfs ...string) string {
	t.Helper()
	if os.Geteuid() != 0 {
		t.Fatal("this test mounts file systems, which takes root; run the tests as root, as is done on every change")
	}
	at := filepath.Join(t.TempDir(), "somebody's disk")
	if err := os.Mkdir(at, 0o755); err != nil {
		t.Fatal(err)
	}
	args := []string{"mount", "-t", kind, "none", at}
	if len(mkfs) > 0 {
		img := filepath.Join(t.TempDir(), "disk.img")
		if err := os.WriteFile(img, nil, 0o600); err != nil {
			t.Fatal(err)
		}
		if err := os.Truncate(img, 64<<20); err != nil {
			t.Fatal(err)
		}
		if out, err := exec.Command(mkfs[0], append(mkfs[1:], img)...).CombinedOutput(); err != nil {
			t.Fatalf("%v: %v\n%s", mkfs, err, out)
		}
		args = []string{"mount", "-t", kind, "-o", "loop", img, at}
		if kind == "fuse" {
			args = []string{"ntfs-3g", img, at}
		}
	}
	if out, err := exec.Command(args[0], args[1:]...).CombinedOutput(); err != nil {
		t.Fatalf("%v: %v\n%s", args, err, out)
	}
	t.Cleanup(func() {
		if err := unix.Unmount(at, unix.MNT_DETACH); err != nil {
			t.Error(err)
		}
	})
	return at
}

// What it says of file systems whose ways are known: of tmpfs and ext4 all holds (tmpfs(5), ext4(5)); NTFS through FUSE
// offers no flush of all, does not keep owners, and keeps access lists as security descriptors of its own, if at all
// (ntfs-3g(8)).
func TestRun(t *testing.T) {
	for _, c := range []struct {
		kind                           string
		mkfs                           []string
		eviction, by, flushAll, access string
		memory, lasting                bool
		problems                       string
	}{
		{"tmpfs", nil, "direct", "O_DIRECT", "syncfs(2)", "kept and listed", true, true, ""},
		{"ext4", []string{"mkfs.ext4", "-q"}, "direct", "O_DIRECT", "syncfs(2)", "kept and listed", false, true, ""},
		{"fuse", []string{"mkfs.ntfs", "-q", "-F", "-f"}, "direct", "O_DIRECT", "not offered", "set, but not listed", false, false, "owner-not-kept"},
	} {
		t.Run(c.kind, func(t *testing.T) {
			at := mounted(t, c.kind, c.mkfs...)
			secret := filepath.Join(at, "Secret Film")
			if err := os.Mkdir(secret, 0o755); err != nil {
				t.Fatal(err)
			}
			if err := os.WriteFile(filepath.Join(secret, "A001.mov"), []byte("x"), 0o600); err != nil {
				t.Fatal(err)
			}
			d := Run(t.Context(), "test", at, secret)
			for name, p := range map[string]*Place{"folder": &d.Folder, "share": d.Share} {
				f := &p.Files
				if p.Error != "" || p.Removed != "yes" || p.Mount.Type != c.kind || p.Mount.Network || p.Mount.NameLimit < 255 {
					t.Errorf("%s: %+v", name, p)
				}
				if f.Eviction != c.eviction || f.EvictionBy != c.by || f.MemorySeen != "yes" || f.ReadBack != "yes" || f.FlushFile != "yes" || f.FlushFolder != "yes" || f.FlushAll != c.flushAll {
					t.Errorf("%s: reading and flushing: %+v", name, f)
				}
				if f.RenameFree != "yes" || f.RenameTaken != "refused" || f.FileReplaced != "refused" || f.ChangedIsSeen != "yes" {
					t.Errorf("%s: renaming: %+v", name, f)
				}
				if f.Attributes != "kept and listed" || f.AccessLists != c.access || f.Case != "kept apart" || f.Forms != "kept apart" || f.AppleDouble != "no" {
					t.Errorf("%s: attributes and names: %+v", name, f)
				}
				if p.Medium.Memory != c.memory || p.Medium.LastingNumbers != c.lasting || p.Trial["folds_case"] != false || strings.Join(p.Trial["problems"].([]string), " ") != c.problems {
					t.Errorf("%s: medium and trial: %+v %v", name, p.Medium, p.Trial)
				}
			}
			if d.Folder.Walk.Folders != 2 && c.kind != "ext4" || d.Folder.Walk.Failed != 0 {
				t.Errorf("walk: %+v", d.Folder.Walk)
			}
			anonymous(t, d, at, "Secret", "A001")
			list, err := os.ReadDir(at)
			if err != nil {
				t.Fatal(err)
			}
			for _, e := range list {
				if e.Name() != "Secret Film" && e.Name() != "lost+found" {
					t.Errorf("left: %s", e.Name())
				}
			}
		})
	}
}

// anonymous looks for names in the document.
func anonymous(t *testing.T, d *Document, secrets ...string) {
	t.Helper()
	b, err := json.Marshal(d)
	if err != nil {
		t.Fatal(err)
	}
	host, err := os.Hostname()
	if err != nil {
		t.Fatal(err)
	}
	u, err := user.Current()
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range append(secrets, host, u.HomeDir, "disk.img", "somebody") {
		if strings.Contains(string(b), s) {
			t.Errorf("%q stands in\n%s", s, b)
		}
	}
}

// A place where nothing can be made is told, and so is one that is not there; stopped, it says so.
func TestRunCannot(t *testing.T) {
	at := mounted(t, "tmpfs")
	if out, err := exec.Command("mount", "-o", "remount,ro", at).CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	d := Run(t.Context(), "test", at, "/nowhere/at all")
	if d.Folder.Error != "error: mkdir: read-only file system" || d.Folder.Trial["problems"].([]string)[0] != "share-read-only" {
		t.Errorf("read-only: %+v", d.Folder)
	}
	if !strings.HasPrefix(d.Share.Error, "error: ") {
		t.Errorf("nowhere: %+v", d.Share)
	}
	anonymous(t, d, at, "nowhere")
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if d := Run(ctx, "test", t.TempDir(), ""); !d.Interrupted || d.Folder.Error == "" {
		t.Errorf("stopped: %+v", d)
	}
}

func TestHider(t *testing.T) {
	f := &share.Facts{Path: "/Volumes/My Films/2026", Mount: share.Mount{From: "box.local:/vol/films", Point: "/Volumes/My Films", Root: "/", Type: "nfs"}}
	h := newHider(f)
	for in, want := range map[string]string{
		`36 25 0:31 / /Volumes/My\040Films rw - nfs box.local:/vol/films rw,addr=10.20.30.40`: `36 25 0:31 / POINT rw - nfs FROM rw,addr=ADDRESS`,
		"/vol/films @ box.local (fe80::1c2d:3e4f)":                                            "EXPORT @ SERVER (ADDRESS)",
		"clientaddr=2001:db8::7,vers=4.1":                                                     "clientaddr=ADDRESS,vers=4.1",
		"rsize=1048576,timeo=600,flags 0x4000018":                                             "rsize=1048576,timeo=600,flags 0x4000018",
		"/Volumes/My Films/2026":                                                              "FOLDER",
	} {
		if got := h.text(in); got != want {
			t.Errorf("%s: %s, want %s", in, got, want)
		}
	}
}
