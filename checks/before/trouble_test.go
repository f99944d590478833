//go:build linux

package before

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"loadline/checks"
	"loadline/checks/internal/fixture"
	"loadline/checks/share"
	"loadline/checks/walk"
)

// fuseDisk mounts an NTFS image through FUSE and returns where, and the process that serves it: one
// that can be halted or ended, as a server or a disk can.
func fuseDisk(t *testing.T, base, name string) (at string, server int) {
	t.Helper()
	img := fixture.Image(t, 16<<20, "mkfs.ntfs", "-q", "-F", "-f")
	at = filepath.Join(base, name)
	if err := os.MkdirAll(at, 0o755); err != nil {
		t.Fatal(err)
	}
	fixture.Command(t, "/", "ntfs-3g", img, at)
	t.Cleanup(func() { _ = unix.Unmount(at, unix.MNT_DETACH) })
	processes, err := filepath.Glob("/proc/[0-9]*/cmdline")
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range processes {
		if line, err := os.ReadFile(p); err == nil && strings.HasPrefix(string(line), "ntfs-3g\x00"+img+"\x00") {
			server, err = strconv.Atoi(filepath.Base(filepath.Dir(p)))
			if err != nil {
				t.Fatal(err)
			}
			t.Cleanup(func() { _ = unix.Kill(server, unix.SIGKILL) })
			return at, server
		}
	}
	t.Fatal("nothing serves the disk")
	return "", 0
}

// TestSilentShare halts what serves the share: nfs(5) repeats a request for ever then. The checks go on
// without it after the deadline.
func TestSilentShare(t *testing.T) {
	if !fixture.Room(t) {
		return
	}
	base := realTemp(t)
	source := filepath.Join(base, "source")
	grow(t, source, "a 1", "b:c 1")
	at, server := fuseDisk(t, base, "share")
	if err := unix.Kill(server, unix.SIGSTOP); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = unix.Kill(server, unix.SIGCONT) })
	// Only calls to the share are given up so early, and none of them can answer.
	rep := examine(t, checks.Job{Source: source, Share: at, Deadline: 3 * time.Second})
	expectWhole(t, rep, "share-silent")
	for _, c := range []*checks.Check{shareWrites, shareNames, freeSpace, copyTime} {
		if r := rep.Result(c.ID); r.Status == checks.Passed || r.Status == checks.Warned {
			t.Errorf("%s is %s on a share that does not respond", c.ID, r.Status)
		}
	}
	// What the source alone can tell is told.
	if _, ok := spots(rep)[spot{"reserved-character", "b:c"}]; !ok || rep.Totals.Files != 2 {
		t.Error("the source was not looked at")
	}
}

// TestReadErrors ends what serves a disk inside the source: the system then reports errors for it.
func TestReadErrors(t *testing.T) {
	if !fixture.Room(t) {
		return
	}
	source := realTemp(t)
	grow(t, source, "good/file 1")
	base := realTemp(t)
	at, server := fuseDisk(t, base, "disk")
	inside := mountAt(t, source, "disk", "--bind", at)
	if err := os.WriteFile(filepath.Join(inside, "file"), []byte("x"), 0o644); err != nil {
		t.Fatal(err)
	}
	if err := unix.Kill(server, unix.SIGKILL); err != nil {
		t.Fatal(err)
	}
	for { // until the kernel has let the connection go
		if _, err := os.ReadDir(inside); errors.Is(err, unix.ENOTCONN) {
			break
		}
	}
	rep := examine(t, checks.Job{Source: source})
	compare(t, "a disk that is gone", spots(rep, permissions.Rules...), map[spot]bool{{"read-error", "disk"}: true})
	if rep.Verdict != checks.Failed {
		t.Errorf("verdict %s", rep.Verdict)
	}
	// As the whole source it cannot be checked at all.
	if _, err := checks.Run(t.Context(), checks.Job{Source: inside}, List(), nil); !errors.Is(err, checks.ErrBadJob) {
		t.Errorf("a source that is gone: %v", err)
	}
}

// before puts a check of the test in front of another in the list.
func before(c *checks.Check, mine *checks.Check) []*checks.Check {
	var list []*checks.Check
	for _, o := range List() {
		if o == c {
			list = append(list, mine)
		}
		list = append(list, o)
	}
	return list
}

// TestVanished removes a file between its listing and the look at it. Only where the mode does not say
// that a file can be read is there such a look, so it takes an ordinary user.
func TestVanished(t *testing.T) {
	if !fixture.Ordinary(t) {
		return
	}
	root := realTemp(t)
	grow(t, root, "stays 1", "goes 1 mode=0044")
	remove := oneCheck("remove", nil)
	remove.Finish = nil
	remove.Visit = func(*checks.Pass, *walk.Dir) {
		if err := os.Remove(filepath.Join(root, "goes")); err != nil {
			t.Error(err)
		}
	}
	rep, err := checks.Run(t.Context(), checks.Job{Source: root}, before(permissions, remove), nil)
	if err != nil {
		t.Fatal(err)
	}
	sound(t, rep)
	compare(t, "rm", spots(rep, permissions.Rules...), map[spot]bool{{"vanished", "goes"}: true})
}

// TestChanged changes young files between the two looks at them, in every way.
func TestChanged(t *testing.T) {
	root := realTemp(t)
	young := " date=" + treeNow.Add(-5*time.Minute).Format(time.RFC3339)
	grow(t, root, "grows 10"+young, "shrinks 10"+young, "touched 10"+young, "removed 10"+young, "replaced 10"+young,
		"same 10"+young, "grows-old 10", "sub/grows 10"+young, `"odd\n\xff" 10`+young)
	at := func(n string) string { return filepath.Join(root, n) }
	change := oneCheck("change", func(context.Context, *checks.Pass) error {
		more, err := os.OpenFile(at("grows"), os.O_APPEND|os.O_WRONLY, 0)
		if err != nil {
			return err
		}
		_, err = more.WriteString("more")
		dated := treeNow.Add(-5 * time.Minute)
		return errors.Join(err, more.Close(), os.Chtimes(at("grows"), dated, dated),
			os.Truncate(at("shrinks"), 3), os.Chtimes(at("touched"), dated, dated.Add(time.Nanosecond*1000)),
			os.Remove(at("removed")), os.Rename(at("grows"), at("replaced")), os.Truncate(at("grows-old"), 3),
			os.Truncate(at("sub/grows"), 100), os.Truncate(at("odd\n\xff"), 0))
	})
	waits := waited.Load()
	rep, err := checks.Run(t.Context(), checks.Job{Source: root, Now: func() time.Time { return treeNow }}, before(stillChanging, change), nil)
	if err != nil {
		t.Fatal(err)
	}
	sound(t, rep)
	if n := waited.Load() - waits; n != 1 {
		t.Errorf("%d waits between the looks, want one", n)
	}
	want := map[spot]bool{}
	for _, n := range []string{"grows", "shrinks", "touched", "removed", "replaced", "sub/grows", "odd\n\xff"} {
		want[spot{"changed-during-check", n}] = true
	}
	compare(t, "what the test changed", spots(rep, changedDuringCheck, justWritten), want)
	if rep.Verdict != checks.Failed {
		t.Errorf("verdict %s", rep.Verdict)
	}
}

// TestLinkAndPower shows the checks a wireless link, a slow one, one of half duplex, and a battery: a
// network of its own with an interface without hardware, and files in place of the kernel's own
// (sysfs-class-net and sysfs-class-power of the kernel's ABI documentation).
func TestLinkAndPower(t *testing.T) {
	if !fixture.RoomOffline(t) {
		return
	}
	base := realTemp(t)
	fixture.Command(t, "/", "ip", "link", "add", "rig0", "type", "veth", "peer", "name", "rig1")
	fixture.Command(t, "/", "ip", "address", "add", "192.0.2.1/24", "dev", "rig0") // TEST-NET-1, RFC 5737
	fixture.Command(t, "/", "ip", "link", "set", "rig0", "up")
	sys := func(dir string, files ...string) {
		t.Helper()
		class := tmpfs(t, "/sys/class", dir, "size=1m")
		for i := 0; i < len(files); i += 2 {
			p := filepath.Join(class, files[i])
			if err := errors.Join(os.MkdirAll(filepath.Dir(p), 0o755), os.WriteFile(p, []byte(files[i+1]+"\n"), 0o644)); err != nil {
				t.Fatal(err)
			}
		}
	}
	source := filepath.Join(base, "source")
	grow(t, source, "a 1")
	stand := share.Facts{
		Path: filepath.Join(base, "share"), Network: true, NFS: true, Version: "4.2",
		Mount: share.Mount{From: "192.0.2.2:/archive", Point: filepath.Join(base, "share"), Root: "/", Type: "nfs4"},
		Space: share.Space{Free: 1e12, Total: 1e12, FreeInodes: 1e6, TotalInodes: 1e6},
	}
	grow(t, base, "share/")
	for _, c := range []struct {
		files []string
		want  []string
	}{
		{[]string{"rig0/speed", "1000", "rig0/duplex", "full"}, nil},
		{[]string{"rig0/speed", "999", "rig0/duplex", "full"}, []string{"slow-link"}},
		{[]string{"rig0/speed", "10000", "rig0/duplex", "half"}, []string{"slow-link"}},
		{[]string{"rig0/speed", "-1", "rig0/wireless/status", "0"}, []string{"wireless-link"}},
		{[]string{"rig0/speed", "", "rig0/phy80211/name", "phy0"}, []string{"wireless-link"}},
		{[]string{"rig0/speed", "4294967295"}, nil},
	} {
		sys("net", c.files...)
		rep := examine(t, checks.Job{Source: source, Share: stand.Path, StandIn: &stand, NoTrial: true})
		got := whole(rep)
		for _, id := range []string{"slow-link", "wireless-link"} {
			want := strings.Contains(fmt.Sprint(c.want), id)
			if _, ok := got[id]; ok != want {
				t.Errorf("%q: %s holds: %v", c.files, id, ok)
			}
		}
	}
	for _, c := range []struct {
		files []string
		want  bool
	}{
		{nil, false},
		{[]string{"BAT0/type", "Battery", "BAT0/status", "Discharging"}, true},
		{[]string{"BAT0/type", "Battery", "BAT0/status", "Charging", "AC/type", "Mains", "AC/online", "1"}, false},
		{[]string{"BAT0/type", "Battery", "BAT0/status", "Discharging", "AC/type", "Mains", "AC/online", "0"}, true},
	} {
		sys("power_supply", c.files...)
		_, got := whole(examine(t, checks.Job{Source: source}))["on-battery"]
		if got != c.want {
			t.Errorf("%q: on-battery holds: %v", c.files, got)
		}
	}
}
