//go:build linux

package before

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"loadline/checks"
	"loadline/checks/internal/fixture"
)

// twoDisks makes disks whose trees share paths, and break rules on names, paths, kinds, clutter and dates.
func twoDisks(t *testing.T) (a, b string) {
	t.Helper()
	base := realTemp(t)
	a, b = filepath.Join(base, "a"), filepath.Join(base, "b")
	for _, dir := range []string{a, b} {
		if err := os.Mkdir(dir, 0o755); err != nil {
			t.Fatal(err)
		}
	}
	grow(t, a, "day/clip.mov 5000", `"day/a:b.mov" 10`, "day/empty.mov", "one/.DS_Store 7", "link => day", "x.photoslibrary/db 9",
		"{deep/*22}file 1", `day/dated.mov 3 date=1960-01-01T00:00:00Z`, "twin/A.mov 1", "twin/a.mov 1")
	grow(t, b, "day/clip.mov 70000", `"day/a:b.mov" 10`, "one/.DS_Store 9000", "link => ../elsewhere", "x.photoslibrary/db 4",
		"{deep/*22}file 2", "{n*200}/{m*200}/{k*180}.mov 4", "noted.mov 12 xattr=user.note=text", "none/")
	return a, b
}

// Every file of several disks is read in one run, and remembered by disk: each is known again when it is checked alone,
// and the run knows what was read of one of them before. A bad list, equal files and a file that is no longer whole are
// told with their disk.
func TestReadSeveralDisks(t *testing.T) {
	base := realTemp(t)
	a, b, state := filepath.Join(base, "a"), filepath.Join(base, "b"), t.TempDir()
	archiveOf(t, a)
	files := int64(len(archiveOf(t, b)))
	fixture.WriteFile(t, filepath.Join(b, "day0", "list.md5"), strings.Repeat("0", 32)+"  clip 0.mov\n"+strings.Repeat("0", 32)+"  gone.mov\n")
	both := reading(a, state)
	both.With = []checks.Disk{{Source: b, Prefix: "B"}}
	both.Prefix = "A"
	if r := everyByteOf(t, reading(b, state)); r.Fact("files_read").Value != files+1 {
		t.Fatalf("disk 2 alone: %v %q", r.Status, r.Reason)
	}
	r := everyByteOf(t, both)
	if r.Status != checks.Failed || r.Fact("files_read").Value != files || r.Fact("remembered").Value != files+1 || r.Fact("memory_error").Value != nil {
		t.Errorf("both: %v %q, %v read, %v remembered", r.Status, r.Reason, r.Fact("files_read").Value, r.Fact("remembered").Value)
	}
	var got []string
	for _, f := range r.Findings {
		if f.Rule != diskErrors {
			got = append(got, fmt.Sprintf("%d %s %s: %s", f.Source, f.Rule.ID, f.Path, f.Detail))
		}
	}
	if want := []string{
		"1 known-checksum-differs day0/clip 0.mov: its MD5 is d41d8cd98f00b204…, day0/list.md5 has 0000000000000000…", // RFC 1321: MD5 of nothing
		"1 known-checksum-missing day0/gone.mov: named in day0/list.md5, but not there",
		"1 same-content day1/clip 5.mov: the same content as day1/clip 5.mov on disk 1",
	}; !slices.Equal(got, want) {
		t.Errorf("found\n%s", strings.Join(got, "\n"))
	}
	both.Read = false
	if r = everyByteOf(t, both); r.Status != checks.Failed || r.Fact("remembered").Value != 2*files+1 {
		t.Errorf("both, not asked: %v %q, %v remembered", r.Status, r.Reason, r.Fact("remembered").Value)
	}
	fixture.Must(t, os.Remove(filepath.Join(b, "day0", "list.md5")))
	for name, job := range map[string]checks.Job{"disk 1 alone": reading(a, state), "both again": both} {
		job.Read = false
		if r = everyByteOf(t, job); r.Status != checks.Passed {
			t.Errorf("%s: %v %q", name, r.Status, r.Reason)
		}
	}
	fixture.WriteFile(t, filepath.Join(b, "new.mov"), "frames")
	if r = everyByteOf(t, both); r.Status != checks.Unknown || r.Fact("remembered").Value != 2*files {
		t.Errorf("one is new: %v %q, %v remembered", r.Status, r.Reason, r.Fact("remembered").Value)
	}
	both.Read, both.Baseline = true, filepath.Join(base, "baseline")
	var at *checks.JobError
	if _, err := checks.Run(t.Context(), both, []*checks.Check{everyByteReads}, nil); !errors.As(err, &at) || at.Field != checks.FieldBaseline {
		t.Errorf("a baseline of both: %v", err)
	}
}

// lines tells every finding about a path of one source.
func lines(rep *checks.Report, source int) (list []string) {
	for c, f := range rep.Findings() {
		if f.Path != "" && f.Source == source {
			list = append(list, fmt.Sprintf("%s %s %s %q %s %d", c.ID, f.Rule.ID, f.Level, f.Path, f.Detail, f.Size))
		}
	}
	return list
}

// Two disks checked as one job have the findings of each checked alone, and the sums of both.
func TestSeveralDisks(t *testing.T) {
	a, b := twoDisks(t)
	const prefix = "a folder of disk b" // makes one key too long, of disk b only
	both := examine(t, checks.Job{Source: a, Prefix: "A", KeyBytes: 600, With: []checks.Disk{{Source: b, Prefix: prefix + "/"}}})
	alone := []*checks.Report{
		examine(t, checks.Job{Source: a, Prefix: "A", KeyBytes: 600}),
		examine(t, checks.Job{Source: b, Prefix: prefix, KeyBytes: 600}),
	}
	for i, rep := range alone {
		want, got := lines(rep, 0), lines(both, i)
		if len(want) < 8 || !slices.Equal(got, want) {
			t.Errorf("disk %d, with the other:\n%s\nalone:\n%s", i+1, strings.Join(got, "\n"), strings.Join(want, "\n"))
		}
	}
	x, y := alone[0].Totals, alone[1].Totals
	want := checks.Totals{Files: x.Files + y.Files, Folders: x.Folders + y.Folders, Links: x.Links + y.Links, Others: x.Others + y.Others, Bytes: x.Bytes + y.Bytes}
	if both.Totals != want {
		t.Errorf("totals %+v, want %+v", both.Totals, want)
	}
	for _, key := range []string{"need_bytes", "need_inodes"} {
		if sum := sumOf(alone[0], key) + sumOf(alone[1], key); sumOf(both, key) != sum {
			t.Errorf("%s is %d, of both alone %d", key, sumOf(both, key), sum)
		}
	}
	if got := both.Job.With[0]; both.Source.Path != a || len(both.Sources) != 2 || both.Sources[0] != (checks.Disk{Source: a, Prefix: "A"}) ||
		both.Sources[1] != got || got != (checks.Disk{Source: b, Prefix: prefix}) {
		t.Errorf("sources %+v, first %q", both.Sources, both.Source.Path)
	}
	_, text := readJSON(t, both)
	for _, s := range []string{
		fmt.Sprintf(`"source":{"path":%q`, a),
		fmt.Sprintf(`"sources":[{"path":%q,"prefix":"A"},{"path":%q,"prefix":"a folder of disk b"}]`, a, b),
		`{"path":"day/a:b.mov","source":0,"rule":"reserved-character"`, `{"path":"day/a:b.mov","source":1,"rule":"reserved-character"`,
	} {
		if !strings.Contains(text, s) {
			t.Errorf("JSON lacks %s", s)
		}
	}
	var out strings.Builder
	if err := both.WriteText(&out); err != nil {
		t.Fatal(err)
	}
	for _, s := range []string{"\nDisk 2: " + b + ", to the folder a folder of disk b\n", "  fail  disk 2: n"} {
		if !strings.Contains(out.String(), s) {
			t.Errorf("the text lacks %q:\n%s", s, out.String())
		}
	}
}

func sumOf(rep *checks.Report, key string) int64 {
	for _, c := range rep.Checks {
		for _, f := range c.Facts {
			if f.Key == key {
				return f.Value.(int64)
			}
		}
	}
	return -1
}

// What two disks would put in one place is told, and nothing else.
func TestDisksCollide(t *testing.T) {
	base := realTemp(t)
	disk := func(name string, tree ...string) string {
		dir := filepath.Join(base, name)
		if err := os.Mkdir(dir, 0o755); err != nil {
			t.Fatal(err)
		}
		grow(t, dir, tree...)
		return dir
	}
	a := disk("a", "day/x.mov 1", "B/rest/x.mov 1", ".DS_Store 1", `"caf\u00e9/x.mov" 1`)
	b := disk("b", "Day/y.mov 1", "night/x.mov 1", ".DS_Store 1", `"cafe\u0301/x.mov" 1`)
	c := disk("c", "other/y.mov 1")
	for _, test := range []struct {
		first, second checks.Disk
		want          string
	}{
		{checks.Disk{Source: a, Prefix: "A"}, checks.Disk{Source: b, Prefix: "B"}, ""},
		{checks.Disk{Source: a, Prefix: "A"}, checks.Disk{Source: b, Prefix: "AB"}, ""},
		{checks.Disk{Source: a}, checks.Disk{Source: b}, "0 café; 0 day"},
		{checks.Disk{Source: a, Prefix: "P/q"}, checks.Disk{Source: b, Prefix: "p/Q"}, "0 café; 0 day"},
		{checks.Disk{Source: a}, checks.Disk{Source: c}, ""},
		{checks.Disk{Source: a}, checks.Disk{Source: c, Prefix: "b"}, "0 B"},
		{checks.Disk{Source: a}, checks.Disk{Source: c, Prefix: "B/Rest"}, "0 B/rest"},
		{checks.Disk{Source: a}, checks.Disk{Source: c, Prefix: "B/more"}, ""},
		{checks.Disk{Source: c, Prefix: "in/b/rest"}, checks.Disk{Source: a, Prefix: "in"}, "1 B/rest"},
	} {
		rep := examine(t, checks.Job{Source: test.first.Source, Prefix: test.first.Prefix, With: []checks.Disk{test.second}})
		var got []string
		for _, f := range rep.Findings() {
			if f.Rule == disksCollide {
				got = append(got, fmt.Sprintf("%d %s", f.Source, f.Path))
			}
		}
		slices.Sort(got)
		if strings.Join(got, "; ") != test.want {
			t.Errorf("%+v with %+v: %q, want %q", test.first, test.second, got, test.want)
		}
	}
	// As long as something of a disk is in another, nothing can be counted once. The error says which
	// disk it is about, and what of it.
	for _, test := range []struct {
		with  checks.Disk
		field checks.Field
	}{
		{checks.Disk{Source: a, Prefix: "P"}, checks.FieldSource},
		{checks.Disk{Source: filepath.Join(a, "day")}, checks.FieldSource},
		{checks.Disk{Source: filepath.Join(base, "gone")}, checks.FieldSource},
		{checks.Disk{Source: c, Prefix: "../up"}, checks.FieldPrefix},
		{checks.Disk{}, checks.FieldSource},
	} {
		_, err := checks.Run(t.Context(), checks.Job{Source: a, With: []checks.Disk{{Source: b, Prefix: "B"}, test.with}}, List(), nil)
		var job *checks.JobError
		if !errors.Is(err, checks.ErrBadJob) || !errors.As(err, &job) || job.Field != test.field || job.Disk != 2 {
			t.Errorf("with %+v: %v", test.with, err)
		}
	}
}
