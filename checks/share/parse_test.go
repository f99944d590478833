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
	rows, err = ParseNFSStat(sample(t, "nfsstat-macos.txt"))
	if err != nil || len(rows) != 1 {
		t.Fatalf("%d rows, %v", len(rows), err)
	}
	checkRows(t, rows, []want{{
		"10.20.30.40:/archive", "/Volumes/archive", "nfs",
		"vers=3 proto=tcp hard !soft !timeo=5 timeo=600 rsize=65536 nosuid sec=sys",
	}})
}

func TestParseMountText(t *testing.T) {
	rows, err := ParseMountText(sample(t, "mount-macos.txt"))
	if err != nil || len(rows) != 7 {
		t.Fatalf("%d rows, %v", len(rows), err)
	}
	checkRows(t, rows, []want{
		{"/dev/disk3s1s1", "/", "apfs", "ro local"},
		{"map auto_home", "/System/Volumes/Data/home", "autofs", "automounted"},
		{"10.20.30.40:/archive", "/Volumes/archive", "nfs", "nodev !local"},
		{"//person@10.20.30.40/films", "/Volumes/films (1)", "smbfs", "nosuid"},
		{"/dev/disk4s2", "/Volumes/A Disk", "exfat", "ro"},
	})
	for point, want := range map[string]string{"/Volumes/archive": "10.20.30.40", "/Volumes/films (1)": "10.20.30.40", "/": ""} {
		m, ok := Covering(rows, point+"/x")
		if !ok || m.Server() != want {
			t.Errorf("server of %s: %q, want %q", point, m.Server(), want)
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
func FuzzParseMountText(f *testing.F)    { fuzzRows(f, "mount-*.txt", ParseMountText) }
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
