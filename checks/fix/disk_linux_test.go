package fix

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"testing"

	"golang.org/x/sys/unix"
)

// A testDisk is a real file system in a file, mounted through loop or FUSE. That needs root and the
// packages exfatprogs, exfat-fuse, ntfs-3g and fuse3; `go run ./cmd/dev test` installs them.
type testDisk struct {
	t     testing.TB
	image string   // file, or the loop device on it
	path  string   // where it is mounted
	mount []string // command, without image and path
}

func run(t testing.TB, command ...string) {
	t.Helper()
	if out, err := exec.Command(command[0], command[1:]...).CombinedOutput(); err != nil {
		t.Fatalf("%s: %v\n%s", strings.Join(command, " "), err, out)
	}
}

func newDisk(t testing.TB, mib int, make, mount []string) *testDisk {
	t.Helper()
	if os.Geteuid() != 0 {
		t.Fatal("this test mounts disks, so it must run as root")
	}
	d := &testDisk{t: t, image: filepath.Join(t.TempDir(), "image"), path: t.TempDir(), mount: mount}
	if err := os.WriteFile(d.image, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.Truncate(d.image, int64(mib)<<20); err != nil {
		t.Fatal(err)
	}
	run(t, append(append([]string{}, make...), d.image)...)
	if mount[0] != "mount" { // a FUSE program, which wants a block device
		out, err := exec.Command("losetup", "-f", "--show", d.image).CombinedOutput()
		if err != nil {
			t.Fatalf("losetup: %v\n%s", err, out)
		}
		d.image = strings.TrimSpace(string(out))
		t.Cleanup(func() { run(t, "losetup", "-d", d.image) })
	}
	d.plug()
	t.Cleanup(d.unplug)
	return d
}

func (d *testDisk) plug(options ...string) {
	d.t.Helper()
	run(d.t, append(append(append([]string{}, d.mount...), options...), d.image, d.path)...)
}

func (d *testDisk) mounted() bool {
	table, err := os.ReadFile("/proc/self/mountinfo")
	return err != nil || strings.Contains(string(table), " "+d.path+" ")
}

// unplug unmounts and waits until the file system has let go of the image.
func (d *testDisk) unplug() {
	d.t.Helper()
	if d.mounted() {
		run(d.t, "umount", d.path)
	}
	for _, pid := range d.daemons() { // a FUSE program writes on after umount has returned
		waitEnd(pid)
	}
}

// daemons finds the FUSE program of this disk by its arguments.
func (d *testDisk) daemons() (pids []int) {
	procs, err := filepath.Glob("/proc/[0-9]*/cmdline")
	if err != nil {
		d.t.Fatal(err)
	}
	for _, p := range procs {
		line, err := os.ReadFile(p)
		args := strings.Split(string(line), "\x00")
		if err != nil || !slices.Contains(args, d.image) || !slices.Contains(args, d.path) {
			continue
		}
		if pid, err := strconv.Atoi(strings.Split(p, "/")[2]); err == nil && pid != os.Getpid() {
			pids = append(pids, pid)
		}
	}
	return pids
}

// waitEnd waits until a process that is not a child has ended (pidfd_open(2)).
func waitEnd(pid int) {
	fd, err := unix.PidfdOpen(pid, 0)
	if err != nil {
		return
	}
	defer unix.Close(fd)
	for {
		if _, err := unix.Poll([]unix.PollFd{{Fd: int32(fd), Events: unix.POLLIN}}, 20_000); err != unix.EINTR {
			return
		}
	}
}

var diskKinds = map[string]struct{ make, mount []string }{
	"ext4":  {[]string{"mkfs.ext4", "-q", "-F"}, []string{"mount", "-o", "loop"}},
	"exfat": {[]string{"mkfs.exfat"}, []string{"mount.exfat-fuse"}},
	"ntfs":  {[]string{"mkfs.ntfs", "-q", "-F"}, []string{"ntfs-3g"}},
}

func eachDisk(t *testing.T, test func(t *testing.T, kind string, d *testDisk)) {
	for kind, with := range diskKinds {
		t.Run(kind, func(t *testing.T) { test(t, kind, newDisk(t, 24, with.make, with.mount)) })
	}
}

// names that each kind of disk takes, with what a rename cures on all of them.
var diskMoves = [][2]string{
	{"d/", "e"},
	{"e/", "d"},
	{"d/a.mov", "A.mov"}, // case only
	{"d/b.mov", "c.mov"},
	{"d/c.mov", "b.mov"},
	{"d/e\u0301.mov", "\u00e9.mov"}, // normal form only
	{"d/sub/", "Sub"},
	{"d/sub/1", "2"},
	{"d/sub/2", "3"},
	{"e/x", "X"},
	{"e/f/", "F"},
}

// TestDisks renames on real file systems: changes of case and normal form only, chains, rings, and
// back, with the disk unplugged in between.
func TestDisks(t *testing.T) {
	eachDisk(t, func(t *testing.T, kind string, d *testDisk) {
		root := filepath.Join(d.path, "archive")
		p := forced(t, root, diskMoves)
		before := snapshot(t, root)
		out := mustApply(t, p)
		if len(out.Kept)+len(out.Dates)+len(out.Gone) > 0 {
			t.Errorf("outcome %+v", out)
		}
		after := snapshot(t, root)
		for _, s := range p.Steps {
			if after[s.To] != before[s.From] || after[s.To] == "" {
				t.Errorf("%q holds %q, want %q", s.To, after[s.To], before[s.From])
			}
		}
		same(t, "content", contents(after), contents(before))
		d.unplug()
		d.plug()
		mustUndo(t, out.Journal)
		same(t, "after undo", snapshot(t, root), before)
	})
}

// TestDiskPlan plans and applies on real file systems with names that they take.
func TestDiskPlan(t *testing.T) {
	eachDisk(t, func(t *testing.T, kind string, d *testDisk) {
		root := filepath.Join(d.path, "archive")
		tree := []string{" lead.mov", "-x.mov", "-x.xml", "con.mov", "e\u0301.mov", "sub \u202e/-y", "sub \u202e/nul"}
		if kind == "ext4" {
			tree = append(tree, "a:b", "two\nlines", "caf\xe9.mov", "A.mov", "a.mov", "dot.")
		}
		plant(t, root, tree...)
		before := snapshot(t, root)
		p := mustPlan(t, root, limits{})
		out := mustApply(t, p)
		if err := cured(root, limits{}); err != nil {
			t.Error(err)
		}
		same(t, "content", contents(snapshot(t, root)), contents(before))
		mustUndo(t, out.Journal)
		same(t, "after undo", snapshot(t, root), before)
	})
}

// TestDiskCrash stops at a few points and unplugs the disk, on file systems whose inode numbers do
// not last and that have no exclusive rename.
func TestDiskCrash(t *testing.T) {
	eachDisk(t, func(t *testing.T, kind string, d *testDisk) {
		for i, point := range []int{5, 9, 17, 26, 38, 55, 70} {
			root := filepath.Join(d.path, fmt.Sprint("archive", i))
			p := forced(t, root, diskMoves)
			before := snapshot(t, root)
			o := Options{StateDir: t.TempDir()}
			crashing(point, func(hook func(string)) {
				o := o
				o.test.hook = hook
				if _, err := p.Apply(context.Background(), o); err != nil {
					t.Fatal(err)
				}
			})
			d.unplug()
			d.plug()
			recoverFrom(t, p, before, o, i%2 == 0)
		}
	})
}

// TestReadOnly: a disk that takes no change is said to be so, and nothing is left behind.
func TestReadOnly(t *testing.T) {
	d := newDisk(t, 16, diskKinds["ext4"].make, diskKinds["ext4"].mount)
	root := filepath.Join(d.path, "archive")
	plant(t, root, "a:b", "c?/d:e")
	before := snapshot(t, root)
	run(t, "mount", "-o", "remount,ro", d.path)
	state := t.TempDir()
	_, err := mustPlan(t, root, limits{}).Apply(context.Background(), Options{StateDir: state})
	if !errors.Is(err, syscall.EROFS) || !strings.Contains(err.Error(), "read-only") {
		t.Errorf("got %v", err)
	}
	same(t, "the disk", snapshot(t, root), before)
	if left, _ := os.ReadDir(state); len(left) > 0 {
		t.Errorf("journals left behind: %v", left)
	}
}

// TestFull: on a disk without a byte to spare the journal goes to the state folder, and renaming
// and going back work.
func TestFull(t *testing.T) {
	d := newDisk(t, 16, diskKinds["ext4"].make, diskKinds["ext4"].mount)
	root := filepath.Join(d.path, "archive")
	p := forced(t, root, mixed)
	fill(t, filepath.Join(d.path, "filler"))
	before := snapshot(t, root)
	state := t.TempDir()
	out, err := p.Apply(context.Background(), Options{StateDir: state})
	if err != nil {
		t.Fatal(err)
	}
	if filepath.Dir(out.Journal) != state {
		t.Errorf("the journal lies at %s", out.Journal)
	}
	if _, err := Undo(context.Background(), out.Journal, Options{StateDir: state}); err != nil {
		t.Fatal(err)
	}
	same(t, "after undo", snapshot(t, root), before)
}

// TestFullMidway: the disk fills up after the journal was written: still no new space is needed.
func TestFullMidway(t *testing.T) {
	d := newDisk(t, 16, diskKinds["ext4"].make, diskKinds["ext4"].mount)
	root := filepath.Join(d.path, "archive")
	p := forced(t, root, mixed)
	before := snapshot(t, root)
	first := true
	out, err := p.Apply(context.Background(), Options{StateDir: t.TempDir(), test: rig{hook: func(point string) {
		if point == "rename" && first {
			first = false
			fill(t, filepath.Join(d.path, "filler"))
		}
	}}})
	if err != nil {
		t.Fatal(err)
	}
	mustUndo(t, out.Journal)
	same(t, "after undo", snapshot(t, root), before)
}

func fill(t testing.TB, path string) {
	t.Helper()
	f, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	for size := 1 << 20; size > 0; {
		if _, err := f.Write(make([]byte, size)); errors.Is(err, syscall.ENOSPC) {
			size /= 4
		} else if err != nil {
			t.Fatal(err)
		}
	}
	if err := f.Sync(); err != nil && !errors.Is(err, syscall.ENOSPC) {
		t.Fatal(err)
	}
}

// TestVanishing pulls the disk in the middle of the work, plugs it in again, and goes back.
func TestVanishing(t *testing.T) {
	for _, kind := range []string{"exfat", "ntfs"} {
		t.Run(kind, func(t *testing.T) {
			d := newDisk(t, 24, diskKinds[kind].make, diskKinds[kind].mount)
			root := filepath.Join(d.path, "archive")
			p := forced(t, root, diskMoves)
			before := snapshot(t, root)
			run(t, "sync", "-f", d.path)
			renames := 0
			_, err := p.Apply(context.Background(), Options{StateDir: t.TempDir(), test: rig{hook: func(point string) {
				if point == "renamed" {
					if renames++; renames == 4 {
						d.kill()
					}
				}
			}}})
			var stopped *StoppedError
			if !errors.As(err, &stopped) || !strings.Contains(err.Error(), "plug it in again") {
				t.Fatalf("got %v", err)
			}
			run(t, "umount", d.path)
			d.plug()
			mustUndo(t, stopped.Journal)
			same(t, "after undo", snapshot(t, root), before)
		})
	}
}

// kill ends the FUSE program of this disk, and no other process.
func (d *testDisk) kill() {
	for _, pid := range d.daemons() {
		if err := syscall.Kill(pid, syscall.SIGKILL); err != nil && !errors.Is(err, syscall.ESRCH) {
			d.t.Fatal(err)
		}
		waitEnd(pid)
	}
}

// TestMountedFolder: a folder on which another disk is mounted keeps its name.
func TestMountedFolder(t *testing.T) {
	root := t.TempDir()
	plant(t, root, "disk:/", "a:b")
	run(t, "mount", "-t", "tmpfs", "tmpfs", root+"/disk:")
	t.Cleanup(func() { run(t, "umount", root+"/disk:") })
	p := mustPlan(t, root, limits{})
	same(t, "steps", steps(p), []string{`"a:b" -> "a-b" reserved-character`})
	if len(p.Left) != 1 || !strings.Contains(p.Left[0].Why, "unmount") {
		t.Errorf("left %+v", p.Left)
	}
}

// TestUnreadable: an ordinary user is told which permission is missing.
func TestUnreadable(t *testing.T) {
	const env = "LOADLINE_TEST_USER"
	if root := os.Getenv(env); root != "" {
		p := mustPlan(t, root, limits{})
		for _, l := range p.Left {
			fmt.Println("left:", l.Path, l.Rules, l.Why)
		}
		_, err := p.Apply(context.Background(), Options{StateDir: root + "-state"})
		fmt.Println("apply:", err)
		return
	}
	if os.Geteuid() != 0 {
		t.Fatal("this test becomes another user, so it must run as root")
	}
	top := t.TempDir()
	root := top + "/archive"
	plant(t, root, "secret.mov", "shut/x.mov", "a:b.mov")
	for path, mode := range map[string]fs.FileMode{"secret.mov": 0o640, "shut": 0o700} {
		if err := os.Chmod(root+"/"+path, mode); err != nil {
			t.Fatal(err)
		}
	}
	for dir := top; dir != "/" && dir != "/tmp"; dir = filepath.Dir(dir) {
		if err := os.Chmod(dir, 0o755); err != nil {
			t.Fatal(err)
		}
	}
	state := root + "-state"
	if err := os.Mkdir(state, 0o777); err != nil || os.Chmod(state, 0o777) != nil {
		t.Fatal(err)
	}
	self, err := os.ReadFile(os.Args[0])
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(top+"/self", self, 0o755); err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(top+"/self", "-test.run=^TestUnreadable$", "-test.v")
	cmd.Dir = top
	cmd.Env = append(os.Environ(), env+"="+root)
	cmd.SysProcAttr = &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: 65534, Gid: 65534}}
	out, err := cmd.CombinedOutput()
	if err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	for _, want := range []string{
		"left: secret.mov [file-unreadable] mode 0640, owner 0, group 0: you may not read it",
		"left: shut [folder-unreadable] the folder can't be listed: permission denied",
		"apply: you may not change names here",
	} {
		if !strings.Contains(string(out), want) {
			t.Errorf("lacks %q:\n%s", want, out)
		}
	}
}
