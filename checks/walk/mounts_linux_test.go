package walk

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync/atomic"
	"syscall"
	"testing"

	"golang.org/x/sys/unix"
)

// ownMounts runs the test again where its mounts are seen by nobody else and end with it.
func ownMounts(t *testing.T) bool {
	t.Helper()
	needRoot(t)
	return again(t, &syscall.SysProcAttr{Unshareflags: syscall.CLONE_NEWNS})
}

func mount(t *testing.T, args ...string) {
	t.Helper()
	if out, err := exec.Command("mount", args...).CombinedOutput(); err != nil {
		t.Fatalf("mount %q: %v %s", args, err, out)
	}
	t.Cleanup(func() { _ = unix.Unmount(args[len(args)-1], unix.MNT_DETACH) })
}

func TestBindMounts(t *testing.T) {
	if !ownMounts(t) {
		return
	}
	root := tree{"a/b/f": "x", "a/c/": "", "other/g": "", "mem/": "", "to/": ""}.make(t)
	at := func(name string) string { return filepath.Join(root, name) }
	mount(t, "-t", "tmpfs", "none", at("mem"))
	if err := os.WriteFile(at("mem/h"), nil, 0o644); err != nil {
		t.Fatal(err)
	}
	mount(t, "--bind", at("other"), at("to")) // twice in the tree, but no cycle
	mount(t, "--bind", root, at("a/c"))       // a cycle
	mount(t, "--bind", at("a"), at("a/b"))    // another, of one level
	for name, sys := range systems() {
		t.Run(name, func(t *testing.T) {
			s := walkAll(t, root, sys)
			loops := map[string]bool{"a/b": true, "a/c": true}
			for p, d := range s.folders {
				if d.Loop != loops[p] || d.Err != nil {
					t.Errorf("%q: loop %v, %v", p, d.Loop, d.Err)
				}
			}
			for _, p := range []string{"other/g", "to/g", "mem/h"} {
				if _, ok := s.entries[p]; !ok {
					t.Errorf("%s was not seen", p)
				}
			}
			if len(s.entries) != 9 {
				t.Errorf("%d entries: %q", len(s.entries), s.names())
			}
			want, devices, _ := find(t, root)
			if d := s.folders["mem"].Device; d != devices["mem"] || d == s.folders[""].Device {
				t.Errorf("device of mem is %d, find says %d", d, devices["mem"])
			}
			// mountpoint(1) is what says where something is mounted. Bind mounts of one file
			// system are beyond devices, and so beyond the portable way.
			for p, e := range s.entries {
				if e.Kind != Folder || p != "mem" && name != "default" {
					continue
				}
				mounted := exec.Command("mountpoint", "-q", at(p)).Run() == nil
				if e.MountRoot != mounted {
					t.Errorf("%s: MountRoot %v, mountpoint says %v", p, e.MountRoot, mounted)
				}
				if e, err := Look(root, p); name == "default" && (err != nil || e.MountRoot != mounted) {
					t.Errorf("Look at %s: MountRoot %v, %v", p, e.MountRoot, err)
				}
			}
			if e := s.entries["mem"]; e.Inode != want["mem"].Inode {
				t.Errorf("mem: inode %d, find says %d", e.Inode, want["mem"].Inode)
			}
		})
	}
}

// image makes and mounts a file system of its own.
func image(t *testing.T, options ...string) (file, point string) {
	t.Helper()
	dir := t.TempDir()
	file, point = filepath.Join(dir, "image"), filepath.Join(dir, "disk")
	if err := os.WriteFile(file, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.Truncate(file, 64<<20); err != nil {
		t.Fatal(err)
	}
	if out, err := exec.Command("mkfs.ext4", append(options, "-q", "-F", file)...).CombinedOutput(); err != nil {
		t.Fatalf("mkfs.ext4: %v %s", err, out)
	}
	if err := os.Mkdir(point, 0o755); err != nil {
		t.Fatal(err)
	}
	mount(t, "-o", "loop", file, point)
	return file, point
}

func fillDisk(t *testing.T, root string, folders, files int) {
	t.Helper()
	for i := range folders {
		dir := filepath.Join(root, fmt.Sprint(i%20), fmt.Sprint(i))
		if err := os.MkdirAll(dir, 0o755); err != nil {
			t.Fatal(err)
		}
		for j := range files {
			if err := os.WriteFile(filepath.Join(dir, fmt.Sprint(j)), nil, 0o644); err != nil {
				t.Fatal(err)
			}
		}
	}
}

// TestUnknownTypes: without the feature filetype ext4 keeps no types in its folders, as some FUSE
// and NFS servers do (DT_UNKNOWN of getdents64).
func TestUnknownTypes(t *testing.T) {
	if !ownMounts(t) {
		return
	}
	_, root := image(t, "-O", "^filetype")
	fillDisk(t, root, 50, 3)
	if err := os.Symlink("0", filepath.Join(root, "link")); err != nil {
		t.Fatal(err)
	}
	fd, err := unix.Open(root, unix.O_DIRECTORY, 0)
	if err != nil {
		t.Fatal(err)
	}
	buf := make([]byte, 4096)
	n, err := unix.Getdents(fd, buf)
	unix.Close(fd)
	if err != nil || buf[18] != unix.DT_UNKNOWN {
		t.Fatalf("the file system tells types after all: %d, %v", buf[18], err)
	}
	if names, _ := compact(buf[:n]); names < 21 {
		t.Errorf("%d names", names)
	}
	for name, sys := range systems() {
		t.Run(name, func(t *testing.T) { agree(t, walkAll(t, root, sys), root) })
	}
}

// TestUnplugged takes the disk away during the walk: what has not been read yet fails, what has
// been stays, and the walk ends.
func TestUnplugged(t *testing.T) {
	if !ownMounts(t) {
		return
	}
	for name, sys := range systems() {
		t.Run(name, func(t *testing.T) {
			file, root := image(t)
			fillDisk(t, root, 2000, 2)
			// Nothing may be left in the cache.
			if err := unix.Unmount(root, 0); err != nil {
				t.Fatal(err)
			}
			mount(t, "-o", "loop", file, root)
			s := newSeen()
			var visits atomic.Int32
			o := Options{Workers: 2, Visit: func(d *Dir) {
				s.visit(d)
				if visits.Add(1) == 30 {
					if err := os.Truncate(file, 0); err != nil {
						t.Error(err)
					}
				}
			}}
			if err := run(context.Background(), o, sys(root)); err != nil {
				t.Fatal(err)
			}
			if err := s.check(); err != nil {
				t.Error(err)
			}
			broken := 0
			for p, err := range s.why {
				if !ioError(err) {
					t.Errorf("%s: %v", p, err)
				}
				broken++
			}
			for p, d := range s.folders {
				if d.Err == nil {
					continue
				}
				if !ioError(d.Err) {
					t.Errorf("%s: %v", p, d.Err)
				}
				broken++
			}
			if broken == 0 || len(s.folders) < 30 {
				t.Errorf("%d errors, %d folders", broken, len(s.folders))
			}
			t.Logf("%d errors, %d folders", broken, len(s.folders))
		})
	}
}

// ioError tells what a disk says that is gone: EIO, or EUCLEAN where a folder reads as rubbish.
func ioError(err error) bool {
	return errors.Is(err, unix.EIO) || errors.Is(err, unix.EUCLEAN)
}

// TestDetached unmounts lazily during the walk: descriptors still lead to everything.
func TestDetached(t *testing.T) {
	if !ownMounts(t) {
		return
	}
	_, root := image(t)
	fillDisk(t, root, 200, 1)
	want := walkAll(t, root, newSystem).names()
	s := newSeen()
	err := run(context.Background(), Options{Workers: 1, Visit: func(d *Dir) {
		s.visit(d)
		if d.Path == "" {
			if out, err := exec.Command("umount", "-l", root).CombinedOutput(); err != nil {
				t.Errorf("umount: %v %s", err, out)
			}
		}
	}}, newSystem(root))
	if err != nil {
		t.Fatal(err)
	}
	if got := s.names(); strings.Join(got, "\n") != strings.Join(want, "\n") {
		t.Errorf("%d names, want %d", len(got), len(want))
	}
}
