//go:build rig

package share

import (
	"bufio"
	"context"
	"errors"
	"io"
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"
	"unsafe"

	"golang.org/x/sys/unix"
)

// Tests that run in the rig, with a real NFS server and client (TestInTheRig boots it). What they
// rely on was measured on the kernel that the rig boots, Linux 6.1, and is named in each.

// rig runs one of the rig's commands.
func rig(t testing.TB, args ...string) {
	t.Helper()
	if out, err := exec.Command("/run/rig/"+args[0], args[1:]...).CombinedOutput(); err != nil {
		t.Fatalf("rig %v: %v %s", args, err, out)
	}
}

// drain waits until no call hangs: it takes every place for calls, and gives them back.
func drain(t testing.TB) {
	t.Helper()
	for range mostHanging {
		for {
			err := calls.enter(context.Background(), time.Minute)
			if err == nil {
				break
			}
			// All of them hang at this moment.
			if !errors.Is(err, ErrBusy) {
				t.Fatal(err)
			}
		}
	}
	for range mostHanging {
		calls.leave(false)
	}
}

// empty fails where a folder of the share holds anything: trials leave nothing.
func empty(t testing.TB, folder string) {
	t.Helper()
	names, err := os.ReadDir(folder)
	for _, n := range names {
		if n.Name() != ".filler" {
			t.Errorf("%s still holds %s", folder, n.Name())
		}
	}
	if err != nil {
		t.Error(err)
	}
}

func rules(r *Result) string {
	var ids []string
	for _, p := range r.Problems {
		ids = append(ids, p.Rule)
	}
	return strings.Join(ids, " ")
}

var small = Wishes{Bytes: 2 << 20, Files: 10, Time: time.Hour, Deadline: time.Hour}

// What every kind of share of the rig must be found to be. Kernel behaviour: statfs gives type
// 0x6969 and name limit 255 on every version; a mount of a read-only export shows rw and refuses
// the first write with EROFS; root_squash answers chown with EPERM; ENOSPC comes with the first
// fsync; ext4's quota is not in statfs of an NFS mount and comes as EDQUOT with fsync; vfat answers
// EINVAL to the characters that it does not take and drops a trailing dot.
func TestGuestShares(t *testing.T) {
	limitQuota(t, "/srv/rig/quota3", 65534, 4<<20)
	limitQuota(t, "/srv/rig/quota42", 65534, 4<<20)
	for _, tc := range []struct {
		mount, version string
		wishes         Wishes
		rules          string
		free           int64 // at least, so that the share looks roomy
	}{
		{"v3", "3", small, "", 8 << 20},
		{"v42", "4.2", small, "", 8 << 20},
		{"soft3", "3", small, "", 8 << 20},
		{"ro", "3", small, "share-read-only", 0},
		{"rox3", "3", small, "share-read-only", 8 << 20},
		{"rox42", "4.2", small, "share-read-only", 8 << 20},
		{"squash3", "3", small, "owner-not-kept", 8 << 20},
		{"squash42", "4.2", small, "owner-not-kept", 8 << 20},
		// Before it is filled: the server takes a while to give back what a removed file took up.
		{"tiny3", "3", Wishes{Bytes: 100_000, Files: 2, Time: time.Hour, Deadline: time.Hour}, "", 0},
		{"tiny3", "3", small, "share-full", 0},
		{"tiny42", "4.2", small, "share-full", 0},
		{"quota3", "3", Wishes{Bytes: 8 << 20, Files: 2, Time: time.Hour, Deadline: time.Hour}, "owner-not-kept share-full", 16 << 20},
		{"quota42", "4.2", Wishes{Bytes: 8 << 20, Files: 2, Time: time.Hour, Deadline: time.Hour}, "owner-not-kept share-full", 16 << 20},
		{"fat", "3", small, "owner-not-kept", 8 << 20},
	} {
		t.Run(tc.mount, func(t *testing.T) {
			folder := "/mnt/" + tc.mount
			f, err := Look(t.Context(), folder, 0)
			if err != nil {
				t.Fatal(err)
			}
			if !f.NFS || !f.Network || f.System || f.Version != tc.version || f.Mount.Point != folder || f.Space.Magic != 0x6969 {
				t.Errorf("Look(%s) = %+v", folder, f)
			}
			if v, _ := f.Mount.Option("wsize"); v != "1048576" {
				t.Errorf("wsize in force is %q", v)
			}
			if _, ok := f.Mount.Option("acregmin"); !ok {
				t.Errorf("no options of mountstats in %v", f.Mount.Options)
			}
			if f.Space.Free < tc.free {
				t.Errorf("free %d, want at least %d", f.Space.Free, tc.free)
			}
			r, err := Try(t.Context(), folder, tc.wishes)
			if err != nil || rules(r) != tc.rules {
				t.Fatalf("Try(%s) found %q, want %q; %v; %+v", folder, rules(r), tc.rules, err, r.Problems)
			}
			empty(t, folder)
			if strings.Contains(tc.rules, "share-") {
				return
			}
			if r.NameLimit != 255 || r.CutsShort || r.FoldsForms || r.FoldsCase != (tc.mount == "fat") {
				t.Errorf("names on %s: %+v", folder, r)
			}
			if r.PastCache != "O_DIRECT" || !r.ClockKnown || r.ClockAhead.Abs() > 2*time.Second || r.Rate <= 0 || r.PerFile <= 0 {
				t.Errorf("measures on %s: %+v", folder, r)
			}
			checkRefused(t, tc.mount, r)
		})
	}
}

// checkRefused compares with what was measured on vfat by other means: EINVAL for reserved and
// control characters, invalid UTF-8 and a trailing space; a trailing dot is dropped.
func checkRefused(t *testing.T, mount string, r *Result) {
	t.Helper()
	if mount != "fat" {
		if len(r.Refused) > 0 {
			t.Errorf("refused on %s: %+v", mount, r.Refused)
		}
		return
	}
	want := map[Refusal]bool{
		{Habit: HabitTrailingDot, Back: "n-044-"}:     true,
		{Habit: HabitTrailingSpace, Err: unix.EINVAL}: true,
		{Habit: HabitInvalidUTF8, Err: unix.EINVAL}:   true,
	}
	for _, c := range `\:*?"<>|` {
		want[Refusal{Rune: c, Err: unix.EINVAL}] = true
	}
	for c := rune(1); c < 32; c++ {
		want[Refusal{Rune: c, Err: unix.EINVAL}] = true
	}
	for _, got := range r.Refused {
		if !want[got] {
			t.Errorf("vfat: %+v", got)
		}
		delete(want, got)
	}
	for w := range want {
		t.Errorf("vfat: not found: %+v", w)
	}
}

// limitQuota sets a hard limit on what a user may store (quotactl(2), Q_SETQUOTA).
func limitQuota(t *testing.T, point string, uid int, limit uint64) {
	t.Helper()
	f, err := Look(t.Context(), point, 0)
	if err != nil {
		t.Fatal(err)
	}
	disk := f.Mount.From
	var q struct {
		hard, soft, space, hardInodes, softInodes, inodes, time, timeInodes uint64
		valid                                                               uint32
	}
	q.hard, q.soft, q.valid = limit>>10, limit>>10, 1 // units of 1 KiB; QIF_BLIMITS
	dev, err := unix.BytePtrFromString(disk)
	if err != nil {
		t.Fatal(err)
	}
	const setQuota = 0x800008 // Q_SETQUOTA, of users
	_, _, e := unix.Syscall6(unix.SYS_QUOTACTL, setQuota<<8, uintptr(unsafe.Pointer(dev)), uintptr(uid), uintptr(unsafe.Pointer(&q)), 0, 0)
	if e != 0 {
		t.Fatalf("quotactl on %s (%s): %v", disk, point, e)
	}
}

// Rows that only a system with privileges can have.
func TestGuestMounts(t *testing.T) {
	dir := t.TempDir()
	at := func(name string) string {
		p := filepath.Join(dir, name)
		if err := os.MkdirAll(p, 0o755); err != nil {
			t.Fatal(err)
		}
		return p
	}
	mount := func(from, to, kind string, flags uintptr) {
		t.Helper()
		if err := unix.Mount(from, to, kind, flags, ""); err != nil {
			t.Fatalf("mount %s on %s: %v", from, to, err)
		}
		t.Cleanup(func() { _ = unix.Unmount(to, unix.MNT_DETACH) })
	}
	look := func(path string) *Facts {
		t.Helper()
		f, err := Look(t.Context(), path, 0)
		if err != nil {
			t.Fatal(err)
		}
		return f
	}
	if f := look(at("none")); !f.System {
		t.Errorf("a folder with nothing mounted: %+v", f)
	}
	bound := at("bound")
	mount(at("none"), bound, "", unix.MS_BIND)
	if f := look(bound); !f.System || f.Mount.Point != bound {
		t.Errorf("a folder of the system's disk mounted again: %+v", f)
	}
	spaced := at("a b\\c\nd")
	mount("/mnt/v3", spaced, "", unix.MS_BIND)
	if f := look(spaced); f.System || !f.NFS || f.Mount.Point != spaced {
		t.Errorf("a share bound to a folder with odd characters: %+v", f)
	}
	mount("memory", spaced, "tmpfs", 0) // on top of the share
	if f := look(spaced); f.NFS || f.Mount.Type != "tmpfs" {
		t.Errorf("stacked mounts: %+v", f)
	}
	// Under sudo(8) the person's home may be on a disk that root's is not on: a folder in it is no share.
	person, err := user.Lookup("mail") // of every system, with a home that nothing here uses
	if err != nil {
		t.Fatal(err)
	}
	if err := os.MkdirAll(person.HomeDir, 0o755); err != nil {
		t.Fatal(err)
	}
	mount("homes", person.HomeDir, "tmpfs", 0)
	if f := look(person.HomeDir); f.System {
		t.Errorf("another disk: %+v", f)
	}
	t.Setenv("SUDO_USER", "mail")
	if f := look(person.HomeDir); !f.System {
		t.Errorf("the home of who called sudo: %+v", f)
	}
	t.Setenv("SUDO_USER", "")
	// A share inside a share: the prefix leads onto another one.
	inner := "/mnt/v3/inner"
	if err := os.Mkdir(inner, 0o755); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = os.Remove(inner) })
	mount("/mnt/v42", inner, "", unix.MS_BIND)
	f, err := LookBelow(t.Context(), "/mnt/v3", "inner/not/yet", 0)
	if err != nil || f.Path != inner || f.Version != "4.2" {
		t.Errorf("LookBelow = %+v, %v", f, err)
	}
	f, err = LookBelow(t.Context(), "/mnt/v3", "not/yet", 0)
	if err != nil || f.Path != "/mnt/v3" || f.Version != "3" {
		t.Errorf("LookBelow = %+v, %v", f, err)
	}
	if same, err := SameFileSystem("/mnt/v3", "/mnt/v42"); !same || err != nil {
		t.Errorf("two mounts of one export: SameFileSystem = %v, %v", same, err)
	}
	if same, err := SameFileSystem("/mnt/v3", "/mnt/fat"); same || err != nil {
		t.Errorf("SameFileSystem(v3, fat) = %v, %v", same, err)
	}
}

// An ordinary user: an export whose folder is root's answers EACCES to mkdir; one of mode 777 works,
// and nobody is asked to give files away.
func TestGuestOrdinaryUser(t *testing.T) {
	if err := os.Mkdir("/srv/rig/main/roots", 0o755); err != nil {
		t.Fatal(err)
	}
	defer os.Remove("/srv/rig/main/roots")
	for folder, want := range map[string]string{"/mnt/v3": "", "/mnt/v42": "", "/mnt/v3/roots": "share-denied"} {
		c := helper(t, "try", folder)
		c.SysProcAttr = &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: 1000, Gid: 1000}}
		out, err := c.Output()
		if got := strings.TrimSpace(string(out)); err != nil || got != strings.TrimSpace("found: "+want) {
			t.Errorf("as an ordinary user on %s: %q, want %q; %v", folder, got, want, err)
		}
	}
}

// Two shares at once.
func TestGuestTwoAtOnce(t *testing.T) {
	var wg sync.WaitGroup
	for _, folder := range []string{"/mnt/v3", "/mnt/squash42", "/mnt/v3"} {
		wg.Go(func() {
			r, err := Try(t.Context(), folder, small)
			if err != nil || len(r.LeftBehind) > 0 || strings.Contains(rules(r), "share-") {
				t.Errorf("%s: %+v, %v", folder, r, err)
			}
		})
	}
	wg.Wait()
	empty(t, "/mnt/v3")
}

// A share that the server exports no more answers ESTALE to version 3.
func TestGuestStale(t *testing.T) {
	stop := false
	r, err := Try(t.Context(), "/mnt/stale3", Wishes{Bytes: 1 << 20, Files: 5, Time: time.Hour, Deadline: time.Hour, Progress: func(_ float64, doing string) {
		if doing == "Timing small files" && !stop {
			stop = true
			rig(t, "unexport", "stale")
		}
	}})
	if err != nil || rules(r) != "stale-handle" || r.Own == "" {
		t.Errorf("unexported: %q %v %+v", rules(r), err, r)
	}
	_, err = Look(t.Context(), "/mnt/stale3", 0)
	if !errors.Is(err, unix.ESTALE) {
		t.Errorf("Look: %v", err)
	}
	rig(t, "export", "stale", "rw,no_root_squash")
	left, err := LeftBehind(t.Context(), "/mnt/stale3")
	if err != nil || !slices.Equal(left, []string{r.Own}) {
		t.Fatalf("LeftBehind = %q, %v; want %q", left, err, r.Own)
	}
	if err := Remove(t.Context(), left[0]); err != nil {
		t.Error(err)
	}
	empty(t, "/mnt/stale3")
}

// helper prepares a process that runs TestHelper as told by its arguments.
func helper(t testing.TB, args ...string) *exec.Cmd {
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	c := exec.Command(self, "-test.run=^TestHelper$")
	c.Env = append(os.Environ(), "SHARE_HELPER="+strings.Join(args, "\n"))
	c.Stderr = os.Stderr
	return c
}

// TestHelper is not a test but what the processes of helper do.
func TestHelper(t *testing.T) {
	args := strings.Split(os.Getenv("SHARE_HELPER"), "\n")
	switch args[0] {
	case "try": // FOLDER: says which rules are broken
		r, err := Try(t.Context(), args[1], small)
		if err != nil {
			os.Stderr.WriteString(err.Error() + "\n")
			os.Exit(1)
		}
		os.Stdout.WriteString("found: " + rules(r) + "\n")
		os.Exit(0)
	case "stand": // FOLDER PHASE: says when it is in a phase, and goes no further
		_, err := Try(t.Context(), args[1], Wishes{Progress: func(_ float64, doing string) {
			if doing == args[2] {
				os.Stdout.WriteString("there\n")
				select {}
			}
		}})
		t.Fatal(err)
	case "leave": // FOLDER: ends with a file open there while the server is cut off
		f, err := os.Open(args[1] + "/leave")
		if err != nil {
			t.Fatal(err)
		}
		rig(t, "cut")
		go func() { _, _ = f.Stat(); _ = f.Sync() }() // one of them may hang in the system
		Leave()
		os.Exit(3)
	case "hang": // FOLDER PHASE: cuts the server off in a phase, goes on, and stops when its input ends
		ctx, stop := context.WithCancel(context.Background())
		go func() { _, _ = io.Copy(io.Discard, os.Stdin); stop() }()
		cut := false
		_, err := Try(ctx, args[1], Wishes{Deadline: time.Hour, Progress: func(_ float64, doing string) {
			if doing == args[2] && !cut {
				cut = true
				rig(t, "cut")
				os.Stdout.WriteString("there\n")
			}
		}})
		if errors.Is(err, context.Canceled) {
			os.Exit(3)
		}
		t.Fatal(err)
	}
}

// waitFor reads lines until one is line.
func waitFor(t testing.TB, r *bufio.Scanner, line string) {
	t.Helper()
	for r.Scan() {
		if r.Text() == line {
			return
		}
	}
	t.Fatalf("the helper ended before %q: %v", line, r.Err())
}
