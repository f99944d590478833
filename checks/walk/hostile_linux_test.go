package walk

import (
	"bytes"
	"context"
	"errors"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"golang.org/x/sys/unix"
)

// again runs the test again in a process of its own, and returns true in that process.
func again(t *testing.T, attr *syscall.SysProcAttr, env ...string) bool {
	t.Helper()
	const key = "WALK_TEST_CHILD"
	if os.Getenv(key) == t.Name() {
		return true
	}
	cmd := exec.Command("/proc/self/exe", "-test.run=^"+t.Name()+"$", "-test.v")
	cmd.Env = append(append(os.Environ(), key+"="+t.Name()), env...)
	cmd.SysProcAttr = attr
	out, err := cmd.CombinedOutput()
	if err != nil || !bytes.Contains(out, []byte("--- PASS: "+t.Name())) {
		t.Errorf("%v\n%s", err, out)
	}
	return false
}

// needRoot fails tests that mount or change user where that is not allowed.
func needRoot(t *testing.T) {
	t.Helper()
	if os.Geteuid() != 0 {
		t.Fatal("needs root: it mounts file systems, or changes user")
	}
}

// remove empties a folder with rm(1), which copes with any depth.
func remove(t testing.TB, dir string) {
	t.Helper()
	if out, err := exec.Command("rm", "-rf", "--", dir).CombinedOutput(); err != nil {
		t.Errorf("rm: %v %s", err, out)
	}
}

// hostile makes a tree of all that may be on a disk. deep is how many folders its deepest path
// has.
func hostile(t *testing.T, deep int) string {
	t.Helper()
	root, err := os.MkdirTemp("", "hostile")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { remove(t, root) })
	must := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	at := func(name string) string { return root + "/" + name }
	must(os.Chmod(root, 0o755))
	for c := 1; c < 256; c++ {
		if c == '/' {
			continue
		}
		name := string([]byte{byte(c)})
		if c != '.' {
			must(os.WriteFile(at(name), make([]byte, c), 0o644))
		}
		must(os.MkdirAll(at("in/x"+name+"y"), 0o755))
		must(os.WriteFile(at("in/x"+name+"y/"+name+"z"), nil, 0o600))
	}
	must(unix.Mkfifo(at("fifo"), 0o644))
	socket, err := unix.Socket(unix.AF_UNIX, unix.SOCK_STREAM, 0)
	must(err)
	must(unix.Bind(socket, &unix.SockaddrUnix{Name: at("socket")}))
	must(unix.Close(socket))
	if os.Geteuid() == 0 {
		must(unix.Mknod(at("device"), unix.S_IFCHR|0o600, int(unix.Mkdev(1, 3))))
	}
	for name, to := range map[string]string{
		"up": "..", "self": "self", "gone": "no where", "abs": "/etc", "chain": "up", "bytes": "\xff\n",
		"long": strings.Repeat("x/", 2000),
	} {
		must(os.Symlink(to, at("link "+name)))
	}
	must(os.WriteFile(at("one"), []byte("1"), 0o644))
	must(os.Link(at("one"), at("in/two")))
	must(os.Link(at("one"), at("in/three")))
	must(os.WriteFile(at("sparse"), nil, 0o644))
	must(os.Truncate(at("sparse"), 1<<33))
	for i, mode := range []uint32{0, 0o7777, 0o4755, 0o2644, 0o1444} {
		name := at("mode" + strconv.Itoa(i))
		must(os.WriteFile(name, []byte("x"), 0o644))
		must(unix.Chmod(name, mode))
	}
	for i, sec := range []int64{-86400 * 365, -1, 0, 1<<31 - 1, 1 << 31, 4354819200} { // 1969 to 2108
		name := at("time" + strconv.Itoa(i))
		must(os.WriteFile(name, nil, 0o644))
		must(os.Chtimes(name, time.Unix(sec, 0), time.Unix(sec, 0)))
	}
	must(os.Chtimes(at("one"), time.Unix(5, 123456789), time.Unix(5, 123456789)))
	for name, mode := range map[string]uint32{"closed": 0, "list only": 0o444, "search only": 0o111} {
		must(os.MkdirAll(at(name+"/below"), 0o755))
		must(os.WriteFile(at(name+"/file"), nil, 0o644))
		must(unix.Chmod(at(name), mode))
	}
	must(os.WriteFile(at("closed file"), nil, 0o644))
	must(unix.Chmod(at("closed file"), 0o200))

	deeper := func(top, name string, levels int) {
		t.Helper()
		must(os.Mkdir(at(top), 0o755))
		fd, err := unix.Open(at(top), unix.O_DIRECTORY|unix.O_PATH, 0)
		must(err)
		for i := range levels {
			must(unix.Mkdirat(fd, name, 0o755))
			if i%500 == 0 { // so that every level is not the only thing that waits
				must(unix.Mkdirat(fd, "side", 0o755))
			}
			sub, err := unix.Openat(fd, name, unix.O_DIRECTORY|unix.O_PATH, 0)
			must(err)
			must(unix.Close(fd))
			fd = sub
		}
		file, err := unix.Openat(fd, "bottom", unix.O_CREAT|unix.O_WRONLY, 0o644)
		must(err)
		must(unix.Close(file))
		must(unix.Symlinkat("../bottom", fd, "link"))
		must(unix.Close(fd))
	}
	deeper("deep", "d", deep)
	deeper("long", strings.Repeat("n", 255), 40)
	return root
}

// find asks find(1) of findutils for the same facts, and returns what it could not read.
func find(t *testing.T, root string) (entries map[string]Entry, devices map[string]uint64, complaints string) {
	t.Helper()
	cmd := exec.Command("find", root, "-printf", `%P\0%y\0%s\0%b\0%i\0%T@\0%n\0%U\0%G\0%m\0%D\0%C@\0`)
	cmd.Env = append(os.Environ(), "LC_ALL=C")
	var out, complain bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &complain
	if err := cmd.Run(); err != nil && complain.Len() == 0 {
		t.Fatal(err)
	}
	entries, devices = map[string]Entry{}, map[string]uint64{}
	fields := strings.Split(out.String(), "\x00")
	number := func(s string, base int) int64 {
		n, err := strconv.ParseInt(s, base, 64)
		if err != nil {
			t.Fatalf("find: %v", err)
		}
		return n
	}
	for ; len(fields) >= 12; fields = fields[12:] {
		kind := Other
		switch fields[1] {
		case "f":
			kind = File
		case "d":
			kind = Folder
		case "l":
			kind = Link
		}
		sec, frac, _ := strings.Cut(fields[5], ".")
		changed, part, _ := strings.Cut(fields[11], ".")
		entries[fields[0]] = Entry{
			Kind: kind, Size: number(fields[2], 10), Blocks: number(fields[3], 10),
			Inode: uint64(number(fields[4], 10)), Sec: number(sec, 10), Nsec: int32(number(frac[:9], 10)),
			Links: uint32(number(fields[6], 10)), UID: uint32(number(fields[7], 10)), GID: uint32(number(fields[8], 10)),
			Perm: uint16(number(fields[9], 8)), Stamp: StampOf(number(changed, 10)*1e9 + number(part[:9], 10)),
		}
		devices[fields[0]] = uint64(number(fields[10], 10))
	}
	return entries, devices, complain.String()
}

// agree compares a walk with find.
func agree(t *testing.T, s *seen, root string) {
	t.Helper()
	want, devices, _ := find(t, root)
	wrong := 0
	for p, w := range want {
		if p == "" {
			continue
		}
		e := s.entries[p]
		w.Name, w.BlockSize, w.MountRoot = p[strings.LastIndexByte(p, '/')+1:], e.BlockSize, e.MountRoot
		if e != w {
			if wrong++; wrong < 10 {
				t.Errorf("%.300q:\n%+v, find says\n%+v", p, e, w)
			}
		}
	}
	for p, e := range s.entries {
		if _, ok := want[p]; !ok && !e.Failed {
			if wrong++; wrong < 10 {
				t.Errorf("%.300q: find does not know it", p)
			}
		}
	}
	for p, d := range s.folders {
		if dev := devices[p]; d.Err == nil && dev != d.Device {
			t.Errorf("%.300q: device %d, find says %d", p, d.Device, dev)
		}
	}
}

func TestPortable(t *testing.T) {
	root := hostile(t, 300)
	a, b := walkAll(t, root, newSystem), walkAll(t, root, newPortable)
	agree(t, a, root)
	agree(t, b, root)
	same(t, a, b)
	same(t, b, a)
}

// TestOldKernel leaves out what came with Linux 5.6 to 6.13.
func TestOldKernel(t *testing.T) {
	open, access, list := haveOpenat2, noFaccessat2.Load(), noListxattrat.Load()
	defer func() {
		haveOpenat2 = open
		noFaccessat2.Store(access)
		noListxattrat.Store(list)
	}()
	haveOpenat2 = func() bool { return false }
	noFaccessat2.Store(true)
	noListxattrat.Store(true)
	root := hostile(t, 1500)
	for name, sys := range systems() {
		if name != "portable" {
			t.Run(name, func(t *testing.T) { agree(t, walkAll(t, root, sys), root) })
		}
	}
	t.Run("closer look", TestCloserLook)
	t.Run("attributes", TestXattrs)
	t.Run("long", TestLongPaths)
}

// TestLongPaths looks again at what is deeper than a path can tell.
func TestLongPaths(t *testing.T) {
	root := hostile(t, 3000)
	for _, rel := range []string{
		"deep/" + strings.Repeat("d/", 3000) + "bottom",
		"long/" + strings.Repeat(strings.Repeat("n", 255)+"/", 40) + "bottom",
	} {
		e, err := Look(root, rel)
		if err != nil || e.Name != "bottom" || e.Kind != File {
			t.Errorf("Look: %+v, %.100v", e, err)
		}
		_, err = Look(root, rel+"/x")
		if !errors.Is(err, unix.ENOTDIR) {
			t.Errorf("below a file: %v", errors.Unwrap(err))
		}
		link := strings.TrimSuffix(rel, "bottom") + "link"
		if to, err := Readlink(root, link); to != "../bottom" || err != nil {
			t.Errorf("Readlink: %q, %v", to, errors.Unwrap(err))
		}
		if _, err := Readlink(root, rel); !errors.Is(err, unix.EINVAL) {
			t.Errorf("Readlink of a file: %v", errors.Unwrap(err))
		}
		// The portable way agrees, as far as it has the patience.
		if !strings.HasPrefix(rel, "deep") {
			p, err := portableLook(root, rel)
			if err != nil || p != e {
				t.Errorf("portable: %+v, %v", p, err)
			}
			at, err := goTo(root, strings.TrimSuffix(rel, "/bottom"))
			if err != nil {
				t.Fatal(err)
			}
			if _, err := at.head("bottom", make([]byte, 4)); err != nil {
				t.Errorf("portable head: %v", errors.Unwrap(err))
			}
			if _, err := at.head("link", make([]byte, 4)); !errors.Is(err, errIsLink) {
				t.Errorf("portable head of a link: %v", errors.Unwrap(err))
			}
			at.close()
			if to, err := portableReadlink(root, link); to != "../bottom" || err != nil {
				t.Errorf("portable: %q, %v", to, err)
			}
		}
	}
	bottoms := 0
	err := Walk(context.Background(), root, Options{Workers: 1, Visit: func(d *Dir) {
		if !slices.ContainsFunc(d.Entries, func(e Entry) bool { return e.Name == "bottom" }) {
			return
		}
		bottoms++
		if _, err := d.Head("bottom", make([]byte, 4)); err != nil {
			t.Errorf("Head: %v", errors.Unwrap(err))
		}
		if _, err := d.Head("link", make([]byte, 4)); !errors.Is(err, unix.ELOOP) {
			t.Errorf("Head of a link: %v", errors.Unwrap(err))
		}
	}})
	if err != nil || bottoms != 2 {
		t.Errorf("%d bottoms, %v", bottoms, err)
	}
	// No part of a path may be a link.
	if _, err := Look(root, "link up/"+filepath.Base(root)); err == nil {
		t.Error("Look follows a link above")
	}
	for _, bad := range []string{"a\x00b", "\x00", "x/a\x00/b"} {
		if _, err := Look(root, bad); err == nil {
			t.Errorf("%q found", bad)
		}
		if to, err := Readlink(root, bad); err == nil {
			t.Errorf("%q read: %q", bad, to)
		}
	}
}

// TestOrdinaryUser walks as somebody whom the tree does not belong to.
func TestOrdinaryUser(t *testing.T) {
	root := os.Getenv("WALK_TEST_ROOT")
	if root == "" {
		needRoot(t)
		root = hostile(t, 10)
	}
	user := &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: nobody, Gid: nobody}}
	if !again(t, user, "WALK_TEST_ROOT="+root) {
		return
	}
	for name, sys := range systems() {
		t.Run(name, func(t *testing.T) {
			s := walkAll(t, root, sys)
			agree(t, s, root)
			for _, p := range []string{"closed", "search only"} {
				if d := s.folders[p]; d == nil || !errors.Is(d.Err, fs.ErrPermission) {
					t.Errorf("%s: %+v", p, d)
				}
			}
			if d := s.folders["list only"]; d == nil || d.Err != nil {
				t.Errorf("list only: %+v", d)
			}
			for p, kind := range map[string]Kind{"list only/file": File, "list only/below": Folder} {
				if e := s.entries[p]; !e.Failed || e.Kind != kind || !errors.Is(s.why[p], fs.ErrPermission) {
					t.Errorf("%s: %+v, %v", p, e, s.why[p])
				}
			}
			want := map[string]bool{
				"one": true, "closed file": false, "closed": false, "list only": false, "search only": false,
				"in": true, "link gone": true, "mode0": false, "mode1": true,
			}
			err := run(context.Background(), Options{Workers: 1, Visit: func(d *Dir) {
				if d.Path != "" {
					return
				}
				// Backwards too, as finding the kind goes by the order of Entries.
				for range 2 {
					for _, e := range d.Entries {
						can, ok := want[e.Name]
						if err := d.Access(e.Name); ok && (err == nil) != can {
							t.Errorf("%s: %v", e.Name, err)
						}
					}
					slices.Reverse(d.Entries)
				}
			}}, sys(root))
			if err != nil {
				t.Error(err)
			}
		})
	}
}
