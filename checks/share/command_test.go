package share

import (
	"os/exec"
	"strings"
	"testing"
	"unicode"
)

// Options are those of nfs(5), of mount_nfs(8) of macOS (NFS-339) and of the mount command of Windows (from memory).
func TestMountWith(t *testing.T) {
	for _, c := range []struct {
		on             Platform
		server, export string
		folder, want   string // "" wants an error
	}{
		{Linux, "appliance.invalid", "/archive", "/mnt/share", "sudo mount -t nfs -o hard,proto=tcp,rsize=1048576,wsize=1048576 appliance.invalid:/archive /mnt/share"},
		{Linux, "[2001:db8::1]", "/a", "/mnt/s", "sudo mount -t nfs -o hard,proto=tcp6,rsize=1048576,wsize=1048576 '[2001:db8::1]:/a' /mnt/s"},
		{Linux, "10.20.30.40", "/two words", "/mnt/it's", `sudo mount -t nfs -o hard,proto=tcp,rsize=1048576,wsize=1048576 '10.20.30.40:/two words' '/mnt/it'\''s'`},
		{Linux, "10.20.30.40", "/a,b", "/mnt/$(id)", `sudo mount -t nfs -o hard,proto=tcp,rsize=1048576,wsize=1048576 10.20.30.40:/a,b '/mnt/$(id)'`},
		{MacOS, "10.20.30.40", "/archive", "/Volumes/archive", "sudo mount -t nfs -o vers=3,tcp,hard,intr,rsize=1048576,wsize=1048576,resvport,nosuid,nodev 10.20.30.40:/archive /Volumes/archive"},
		{MacOS, "10.20.30.40", "/a,b", "/Volumes/archive", ""}, // another server there
		{Windows, "10.20.30.40", "/a/b c", "Z:", `mount -o mtype=hard,timeout=60 "\\10.20.30.40\a\b c" Z:`},
		{Windows, "10.20.30.40", "/a%PATH%", "Z:", ""},
		{Windows, "10.20.30.40", "/a", "/mnt", ""},
		{Linux, "", "/a", "/mnt/s", ""},
		{Linux, "-o", "/a", "/mnt/s", ""},
		{Linux, "a b", "/a", "/mnt/s", ""},
		{Linux, "[2001:db8::1", "/a", "/mnt/s", ""},
		{Linux, "[10.0.0.1]", "/a", "/mnt/s", ""},
		{Linux, "box", "archive", "/mnt/s", ""},
		{Linux, "box", "/a\nb", "/mnt/s", ""},
		{Linux, "box", "/a\u202eb", "/mnt/s", ""},
		{Linux, "box", "/a\xff", "/mnt/s", ""},
		{Linux, "box", "/a", "mnt", ""},
		{Linux, "box", "/a", "/", ""},
		{Linux, "box", "/a", "/mnt/../", ""},
		{Linux, "box", "/a", "/mnt/a\x1b[2J", ""},
		{"plan9", "box", "/a", "/mnt/a", ""},
	} {
		got, err := MountWith(c.on, c.server, c.export, c.folder)
		if (err == nil) != (c.want != "") || err == nil && got.Line != c.want {
			t.Errorf("%s %s:%s on %q:\n%s, %v\nwant\n%s", c.on, c.server, c.export, c.folder, got.Line, err, c.want)
		}
	}
}

func TestSplitExport(t *testing.T) {
	for in, want := range map[string][2]string{
		"box:/a/b": {"box", "/a/b"}, "[2001:db8::1]:/a": {"[2001:db8::1]", "/a"}, "box:/a:/b": {"box", "/a:/b"},
		"box": {}, "box:a": {}, ":/a": {}, "2001:db8::1:/a": {}, "[x]/a": {}, "": {}, "[2001:db8::1]:": {"[2001:db8::1]", ""},
	} {
		server, export, err := SplitExport(in)
		if (err == nil) != (want[0] != "") || err == nil && [2]string{server, export} != want {
			t.Errorf("%q: %q %q, %v", in, server, export, err)
		}
	}
}

// What is in force is set right, and what says how to reach the server stays.
func TestMountAgain(t *testing.T) {
	for name, c := range map[string]struct {
		on   Platform
		m    Mount
		want string
	}{
		"Linux": {
			Linux,
			Mount{From: "box:/a b", Point: "/mnt/share", Type: "nfs", Options: splitOptions("ro,relatime,vers=3,rsize=65536,wsize=65536,namlen=255,soft,proto=udp,timeo=10,retrans=1,sec=krb5,mountvers=3,mountport=2050,nconnect=4,local_lock=none,addr=10.0.0.9,nosuid")},
			"sudo umount /mnt/share\nsudo mount -t nfs -o hard,proto=tcp,vers=3,rsize=1048576,wsize=1048576,sec=krb5,mountport=2050,nconnect=4,nosuid 'box:/a b' /mnt/share",
		},
		"Linux, version 2": {
			Linux,
			Mount{From: "box:/a", Point: "/m/s", Type: "nfs", Options: splitOptions("rw,vers=2,hard,noac,port=0")},
			"sudo umount /m/s\nsudo mount -t nfs -o hard,proto=tcp,rsize=1048576,wsize=1048576 box:/a /m/s",
		},
		"a Mac": {
			MacOS,
			Mount{From: "box:/a", Point: "/Volumes/s", Type: "nfs", Options: splitOptions("async,vers=4.1,proto=tcp,port=2050,soft,nointr,resvport,deadtimeout=60,sync,nfc,rsize=32768,sec=sys,nosuid")},
			"sudo umount /Volumes/s\nsudo mount -t nfs -o vers=4.1,tcp,hard,intr,rsize=1048576,wsize=1048576,port=2050,resvport,nfc,sec=sys,nosuid box:/a /Volumes/s",
		},
		"Windows": {
			Windows,
			Mount{From: `\\box\two words`, Point: `Z:\`, Type: "nfs", Options: splitOptions("soft,timeo=8,nolock,sec=sys")},
			"umount Z:\n" + `mount -o mtype=hard,timeout=60,nolock,sec=sys "\\box\two words" Z:`,
		},
	} {
		lines, err := MountAgain(c.on, &c.m)
		if got := strings.Join(lines, "\n"); err != nil || got != c.want {
			t.Errorf("%s: %v\n%s\nwant\n%s", name, err, got, c.want)
		}
	}
	for _, m := range []Mount{
		{From: "/dev/sda1", Point: "/mnt/s"},
		{From: "box:/a", Point: "/"},
		{From: "box:/a\nb", Point: "/mnt/s"},
	} {
		if lines, err := MountAgain(Linux, &m); err == nil {
			t.Errorf("%+v: %q", m, lines)
		}
	}
}

// A shell takes the command apart as it was put together: what POSIX says of quoting, by a real shell.
func FuzzMountWith(f *testing.F) {
	f.Add("box:/two words", "/mnt/it's")
	f.Add("[2001:db8::1]:/$(id)", "/mnt/`id`;*?~\"\\")
	f.Add("box:/a\nb", "/mnt/#")
	f.Fuzz(func(t *testing.T, from, folder string) {
		server, export, err := SplitExport(from)
		if err != nil {
			return
		}
		for _, on := range []Platform{Linux, MacOS} {
			c, err := MountWith(on, server, export, folder)
			if err != nil {
				continue
			}
			lines := strings.Split(strings.TrimSuffix(c.String(), "\n"), "\n")
			for i, l := range lines {
				if (i < len(lines)-1) != strings.HasPrefix(l, "# ") || strings.ContainsFunc(l, unicode.IsControl) {
					t.Fatalf("line %d of %q", i, c.String())
				}
			}
			out, err := exec.Command("sh", "-c", `sudo() { printf '%s\n' "$@"; }; `+c.String()).CombinedOutput()
			words := strings.Split(strings.TrimSuffix(string(out), "\n"), "\n")
			if err != nil || len(words) != 7 || words[5] != from || words[6] != folder || words[0] != "mount" {
				t.Fatalf("%s\nis taken for %q, %v", c, words, err)
			}
		}
	})
}
