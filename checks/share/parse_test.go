package share

import (
	"bytes"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

const samples = "../../testdata/mounts/"

func sample(t testing.TB, name string) io.Reader {
	t.Helper()
	b, err := os.ReadFile(samples + name)
	if err != nil {
		t.Fatal(err)
	}
	return bytes.NewReader(b)
}

// want is a row of a sample as a person reads it.
type want struct{ from, point, kind, options string }

// Every option named must be in force; one with a leading "!" must not.
func checkRows(t *testing.T, rows []Mount, wants []want) {
	t.Helper()
	for _, w := range wants {
		i := slices.IndexFunc(rows, func(m Mount) bool { return m.Point == w.point && m.From == w.from })
		if i < 0 {
			t.Errorf("no row for %q on %q", w.from, w.point)
			continue
		}
		m := rows[i]
		if m.Type != w.kind {
			t.Errorf("%s: type %q, want %q", m.Point, m.Type, w.kind)
		}
		for o := range strings.FieldsSeq(w.options) {
			not, absent := strings.CutPrefix(o, "!")
			if slices.Contains(m.Options, not) == absent {
				t.Errorf("%s: option %s: %v", m.Point, o, m.Options)
			}
		}
	}
}

func TestParseMountInfo(t *testing.T) {
	rows, err := ParseMountInfo(sample(t, "mountinfo-nfs.txt"))
	if err != nil || len(rows) != 4 {
		t.Fatalf("%d rows, %v", len(rows), err)
	}
	checkRows(t, rows, []want{
		{"127.0.0.1:/main", "/mnt/ro", "nfs", "ro !rw vers=3 hard"},
		{"127.0.0.1:/main", "/mnt/share", "nfs", "rw !ro vers=3 rsize=1048576 wsize=1048576 proto=tcp timeo=600 sec=sys namlen=255"},
		{"127.0.0.1:/main", "/mnt/soft", "nfs", "soft timeo=10 retrans=1 !hard"},
		{"127.0.0.1:/main", "/mnt/v41", "nfs4", "vers=4.1 local_lock=none"},
	})
	rows, err = ParseMountInfo(sample(t, "mountinfo-odd.txt"))
	if err != nil || len(rows) != 13 {
		t.Fatalf("%d rows, %v", len(rows), err)
	}
	checkRows(t, rows, []want{
		{"10.20.30.40:/two words", "/mnt/two words\\and\ttab\nline", "nfs", "rw ro softerr vers=3 local_lock=all"},
		{"none", "/mnt/bare", "tmpfs", "rw"},
	})
	if m := rows[9]; m.Root != "/person/films" || m.ID != 46 || m.Parent != 22 {
		t.Errorf("bind mount: %+v", m)
	}
	for _, bad := range []string{"1 2 3", "x 1 0:1 / / rw - ext4 d rw", "1 x 0:1 / / rw - ext4 d rw", "1 1 0-1 / / rw - ext4 d rw", "1 1 0:1 / / rw ext4 d rw"} {
		if rows, err := ParseMountInfo(strings.NewReader(bad)); err == nil {
			t.Errorf("%q gives %+v", bad, rows)
		}
	}
}

func TestParseMountStats(t *testing.T) {
	rows, err := ParseMountStats(sample(t, "mountstats-nfs.txt"))
	if err != nil || len(rows) != 3 {
		t.Fatalf("%d rows, %v", len(rows), err)
	}
	checkRows(t, rows, []want{
		{"127.0.0.1:/main", "/mnt/share", "nfs", "acregmin=3 acregmax=60 acdirmin=30 hard rsize=1048576"},
		{"127.0.0.1:/main", "/mnt/soft", "nfs", "soft timeo=10"},
		{"127.0.0.1:/main", "/mnt/v41", "nfs4", "vers=4.1"},
	})
	table, err := ParseMountInfo(sample(t, "mountinfo-nfs.txt"))
	if err != nil {
		t.Fatal(err)
	}
	mergeOptions(table, rows)
	checkRows(t, table, []want{{"127.0.0.1:/main", "/mnt/share", "nfs", "addr=127.0.0.1 acregmin=3"}})
}

func TestParseNFSStat(t *testing.T) {
	rows, err := ParseNFSStat(sample(t, "nfsstat-linux.txt"))
	if err != nil || len(rows) != 8 {
		t.Fatalf("%d rows, %v", len(rows), err)
	}
	checkRows(t, rows, []want{
		{"127.0.0.1:/main", "/mnt/share", "nfs", "vers=3 hard timeo=600"},
		{"127.0.0.1:/main", "/mnt/v42", "nfs4", "vers=4.2 hard"},
		{"127.0.0.1:/main", "/mnt/soft", "nfs", "soft retrans=1"},
		{"127.0.0.1:/main", "/mnt/ro", "nfs", "ro"},
	})
}

// On a Mac: what one really printed, and what its printer writes of other mounts (see README.md of the samples).
func TestParseNFSStatOfAMac(t *testing.T) {
	rows, err := ParseNFSStat(sample(t, "nfsstat-macos.txt"))
	if err != nil || len(rows) != 1 {
		t.Fatalf("%d rows, %v", len(rows), err)
	}
	checkRows(t, rows, []want{{
		"10.20.30.40:/archive", "/Volumes/archive", "nfs",
		"vers=3 proto=tcp hard nointr nonfc timeo=10 rsize=32768 nosuid sec=sys !soft",
	}})
	if rows[0].Hangs() != "" {
		t.Errorf("status %q", rows[0].Status)
	}
	rows, err = ParseNFSStat(sample(t, "nfsstat-macos-odd.txt"))
	if err != nil || len(rows) != 3 {
		t.Fatalf("%d rows, %v", len(rows), err)
	}
	checkRows(t, rows, []want{
		{"box:/from here", "/Volumes/films from box", "nfs4", "vers=4.1 proto=tcp6 soft intr nfc async deadtimeout=60 retrans=5 !hard"},
		{"box:/old", "/Users/person/mnt", "nfs", "vers=2 proto=udp hard locallocks ro acregmin=0 acdirmax=0"},
		{"box:/bare", "/Volumes/bare", "nfs", "!hard !soft"},
	})
	for i, want := range []string{"dead", "not responding", ""} {
		if got := rows[i].Hangs(); got != want {
			t.Errorf("%s hangs: %q, want %q", rows[i].Point, got, want)
		}
	}
	// A table that knows both names apart takes the options all the same.
	table := []Mount{{From: "box:/from here", Point: "/Volumes/films from box", Type: "nfs"}}
	mergeOptions(table, []Mount{{Point: "/Volumes/films", From: "box from box:/from here", Options: []string{"soft"}, Status: []string{"dead"}}})
	if len(table[0].Options) != 1 || table[0].Hangs() != "dead" {
		t.Errorf("merged: %+v", table[0])
	}
}

// Flags of statfs(2) with the names that nfsstat prints: 0x4000018 was printed as nodev,nosuid,multilabel by a Mac
// (see README.md of the samples), where multilabel says nothing of files.
func TestMacOptions(t *testing.T) {
	for flags, want := range map[uint32]string{
		0x4000018: "nosuid,nodev,rw", 0x1: "ro", 0x42: "sync,async,rw", 0x41: "ro,async", 0: "rw",
	} {
		if got := strings.Join(macOptions(flags), ","); got != want {
			t.Errorf("%#x: %s, want %s", flags, got, want)
		}
	}
}

// The table is that of macOS 10.15.1; that df prints /System/Volumes/Data of /Users is told at the same place.
func TestFirmlinks(t *testing.T) {
	links := parseFirmlinks(strings.NewReader(usualFirmlinks + "\nodd\n/empty\t\nrelative\tx\n"))
	if len(links) != 18 {
		t.Errorf("%d links", len(links))
	}
	for path, want := range map[string]string{
		"/System/Volumes/Data/Users/person/mnt": "/Users/person/mnt",
		"/System/Volumes/Data/Users":            "/Users",
		"/System/Volumes/Data/Userspace":        "/System/Volumes/Data/Userspace",
		"/System/Volumes/Data":                  "/System/Volumes/Data",
		"/System/Volumes/Data/home":             "/System/Volumes/Data/home", // no firmlink: an automount
		"/System/Volumes/Data/Volumes/archive":  "/Volumes/archive",
		"/Volumes/archive":                      "/Volumes/archive",
	} {
		if got := withoutFirmlink(links, path); got != want {
			t.Errorf("%s: %s, want %s", path, got, want)
		}
	}
}

// A folder that is left in /Volumes is on the volume of the system, whoever's home is where.
func TestLeftInVolumes(t *testing.T) {
	rows := []Mount{
		{Point: "/", From: "/dev/disk3s1s1", Type: "apfs"},
		{Point: dataVolume, From: "/dev/disk3s5", Type: "apfs"},
		{Point: "/Volumes/X type B", From: "/dev/disk4s2", Type: "exfat"},
		{Point: "/Volumes/share", From: "box:/a", Type: "nfs"},
	}
	data, _ := rowOf(rows, seen{path: dataVolume, point: dataVolume})
	for path, own := range map[string]bool{"/Volumes/archive": true, "/Volumes/share": false, "/Volumes/X type B": false} {
		point := dataVolume
		if !own {
			point = path
		}
		m, ok := rowOf(rows, seen{path: path, point: point})
		if !ok || sameLocal(&m, &data) != own {
			t.Errorf("%s lies on %s", path, m.Point)
		}
	}
}

// Windows says of a drive only that it is remote, and of a volume what file system answers.
func TestSettleType(t *testing.T) {
	for _, tc := range []struct{ kind, answered, want string }{
		{"", "ntfs", "ntfs"}, {"smbfs", "nfs", "nfs"}, {"smbfs", "ntfs", "smbfs"}, {"nfs", "", "nfs"}, {"ext4", "ext4", "ext4"},
	} {
		m := Mount{Type: tc.kind}
		if settleType(&m, tc.answered); m.Type != tc.want {
			t.Errorf("%q, %q: %q, want %q", tc.kind, tc.answered, m.Type, tc.want)
		}
	}
}

func TestParseWindowsMount(t *testing.T) {
	rows, err := ParseWindowsMount(sample(t, "mount-windows.txt"))
	if err != nil || len(rows) != 2 {
		t.Fatalf("%d rows, %v: %+v", len(rows), err, rows)
	}
	checkRows(t, rows, []want{
		{`\\10.20.30.40\archive`, `Z:\`, "nfs", "soft !hard timeo=16 rsize=1048576 sec=sys !nolock"},
		{`\\10.20.30.40\two words`, `Y:\`, "nfs", "hard timeo=600 nolock wsize=65536"},
	})
	if s := rows[1].Server(); s != "10.20.30.40" {
		t.Errorf("server %q", s)
	}
}

func TestCovering(t *testing.T) {
	rows, err := ParseMountInfo(sample(t, "mountinfo-odd.txt"))
	if err != nil {
		t.Fatal(err)
	}
	unnumbered := slices.Clone(rows)
	for i := range unnumbered {
		unnumbered[i].ID, unnumbered[i].Parent = 0, 0
	}
	for path, id := range map[string]int{
		"/": 22, "/etc/x": 22, "/home/person": 24, "/homely": 22, "/mnt": 22,
		"/mnt/auto/films":                41, // the share that the automount put on top
		"/mnt/stack":                     44,
		"/mnt/stack/x":                   44,
		"/mnt/stack/inner/x":             45,
		"/mnt/bound/x":                   46,
		"/mnt/hidden/deep/x":             48, // a later mount hides the deeper one
		"/mnt/two words\\and\ttab\nline": 42,
	} {
		m, ok := Covering(rows, path)
		if !ok || m.ID != id {
			t.Errorf("%q lies on row %d (%s), want %d", path, m.ID, m.Point, id)
		}
		m2, ok := Covering(unnumbered, path)
		if id != 48 && (!ok || m2.From != m.From) {
			t.Errorf("without numbers %q lies on %q, want %q", path, m2.From, m.From)
		}
	}
	if _, ok := Covering(nil, "/"); ok {
		t.Error("an empty table covers something")
	}
	ring := []Mount{{ID: 1, Parent: 9, Point: "/"}, {ID: 2, Parent: 1, Point: "/a"}, {ID: 1, Parent: 2, Point: "/a"}}
	Covering(ring, "/a/b") // must end
}

func TestServer(t *testing.T) {
	for _, tc := range []struct{ from, kind, options, want string }{
		{"box:/films", "nfs", "", "box"},
		{"box:/films", "nfs", "addr=10.0.0.9", "10.0.0.9"},
		{"[2001:db8::1]:/films", "nfs4", "", "2001:db8::1"},
		{`\\box\films`, "nfs", "", "box"},
		{"//box/films", "cifs", "", "box"},
		{"/dev/sda1", "ext4", "", ""},
		{"strange", "nfs", "", ""},
	} {
		m := Mount{From: tc.from, Type: tc.kind, Options: splitOptions(tc.options)}
		if got := m.Server(); got != tc.want {
			t.Errorf("%q: %q, want %q", tc.from, got, tc.want)
		}
	}
}

// Whatever a table holds, parsing ends without a panic, points stay absolute where they are said to
// be, and reading the same again gives the same.
func fuzzRows(f *testing.F, pattern string, parse func(io.Reader) ([]Mount, error)) {
	files, err := filepath.Glob(samples + pattern)
	if err != nil || len(files) == 0 {
		f.Fatalf("no samples %s: %v", pattern, err)
	}
	for _, file := range files {
		b, err := os.ReadFile(file)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(b)
	}
	f.Add([]byte("0: \\\\  mount=")) // gave an empty option
	f.Fuzz(func(t *testing.T, b []byte) {
		rows, err := parse(bytes.NewReader(b))
		again, err2 := parse(bytes.NewReader(b))
		if (err == nil) != (err2 == nil) || !cmp.Equal(rows, again) {
			t.Fatalf("read twice: %v %v, %v %v", rows, err, again, err2)
		}
		if lines := bytes.Count(b, []byte("\n")) + 1; len(rows) > lines {
			t.Fatalf("%d rows of %d lines", len(rows), lines)
		}
		for i := range rows {
			rows[i].Server()
			rows[i].version()
			if slices.Contains(rows[i].Options, "") {
				t.Fatalf("an empty option: %q", rows[i].Options)
			}
		}
		if m, ok := Covering(rows, "/mnt/stack/inner/x"); ok && !strings.HasPrefix("/mnt/stack/inner/x", m.Point) && m.Point != "" {
			t.Fatalf("covered by %q", m.Point)
		}
		mergeOptions(rows, again)
	})
}

func FuzzParseMountInfo(f *testing.F)    { fuzzRows(f, "mountinfo-*.txt", ParseMountInfo) }
func FuzzParseMountStats(f *testing.F)   { fuzzRows(f, "mountstats-*.txt", ParseMountStats) }
func FuzzParseNFSStat(f *testing.F)      { fuzzRows(f, "nfsstat-*.txt", ParseNFSStat) }
func FuzzParseWindowsMount(f *testing.F) { fuzzRows(f, "mount-windows.txt", ParseWindowsMount) }

func FuzzParseMarker(f *testing.F) {
	f.Add(newMarker(".loadline-trial-abcdefgh").String())
	f.Add(markerTitle)
	f.Fuzz(func(t *testing.T, text string) {
		if m, ok := parseMarker(text); ok {
			if again, ok := parseMarker(m.String()); !ok || again.name != m.name || again.token != m.token || !again.started.Equal(m.started) {
				t.Errorf("%+v is not read back: %+v", m, again)
			}
		}
	})
}

// FuzzTexts: the small texts of macOS.
func FuzzTexts(f *testing.F) {
	f.Add("\tmedia: autoselect (1000baseT <full-duplex>)\n")
	f.Add("media: ȺȺȺȺȺȺbase") // letters that grow when they are made small
	f.Add("Hardware Port: Wi-Fi\nDevice: en0\n")
	f.Add("Now drawing from 'Battery Power'\n")
	f.Fuzz(func(t *testing.T, text string) {
		if bits, _ := ParseInterfaceMedia(strings.NewReader(text)); bits < 0 {
			t.Errorf("%v bits", bits)
		}
		ParseHardwarePorts(strings.NewReader(text), "en0")
		if on, known := ParsePowerSource(strings.NewReader(text)); on && !known {
			t.Error("on battery, but not known")
		}
	})
}
