package arrival

import (
	"encoding/json"
	"fmt"
	"maps"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"loadline/checks"
	"loadline/checks/internal/fixture"
	"loadline/checks/internal/sums"
	"loadline/checks/manifest"
)

const mib = 1 << 20

// object says how testdata/objects.py lists a file.
type object struct {
	Part *int   `json:"part,omitempty"`
	Flip *int   `json:"flip,omitempty"`
	As   string `json:"as"`
}

func inParts(part int, as string) object { return object{Part: &part, As: as} }

func flipped(o object, at int) object {
	o.Flip = &at
	return o
}

// A disk with files of random content, and its manifest.
type footage struct {
	dir, manifest, state string
	files                []*manifest.File
}

// film makes a disk of files of given sizes. The manifest holds no SHA-1, and MD5 only if asked for.
func film(t testing.TB, set sums.Set, sizes map[string]int) *footage {
	t.Helper()
	f := &footage{dir: t.TempDir(), state: t.TempDir()}
	f.manifest = filepath.Join(t.TempDir(), "m.sha256")
	r := rand.NewChaCha8([32]byte{1, 2, 3})
	h := &manifest.Header{Made: time.Date(2031, 5, 4, 3, 2, 1, 0, time.UTC), Source: f.dir, Prefix: "archive"}
	for _, path := range slices.Sorted(maps.Keys(sizes)) {
		data := make([]byte, sizes[path])
		_, _ = r.Read(data) // never fails
		fixture.WriteFile(t, filepath.Join(f.dir, path), string(data))
		f.files = append(f.files, &manifest.File{Path: []byte(path), Size: int64(len(data)), Sums: sums.Of(set, data)})
		h.Files++
		h.Bytes += int64(len(data))
	}
	out, err := os.Create(f.manifest)
	fixture.Must(t, err)
	fixture.Must(t, manifest.Write(out, h, slices.Values(f.files)))
	fixture.Must(t, out.Close())
	return f
}

// list has Python list the objects, in three shapes.
func (f *footage) list(t testing.TB, plan map[string]object) []string {
	t.Helper()
	text, err := json.Marshal(plan)
	fixture.Must(t, err)
	out := filepath.Join(t.TempDir(), "listing")
	if said, err := exec.Command("python3", "testdata/objects.py", f.dir, out, "archive/", string(text)).CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, said)
	}
	return []string{out + ".csv", out + ".json", out + ".xml"}
}

func (f *footage) judge(t testing.TB, listing string, o Options) *checks.Report {
	t.Helper()
	rep, err := Run(t.Context(), f.manifest, []string{listing}, o, nil)
	fixture.Must(t, err)
	return rep
}

// proven are the three counts of how files were proven.
func proven(t testing.TB, rep *checks.Report) [3]int64 {
	c := result(t, rep, "objects")
	get := func(key string) int64 { n, _ := fact(c, key).(int64); return n }
	return [3]int64{get("proven_content"), get("proven_parts"), get("size_only")}
}

// Checksums of parts that Python makes from the content are found again from the disk; what the disk cannot give
// is named; what differs is red. Sizes of parts: common practice, no source.
func TestObjectsInParts(t *testing.T) {
	sizes := map[string]int{"a.mov": 11*mib + 7, "b.mov": 10 * mib, "c.mov": 6 * mib, "notes.txt": 100, "empty": 0}
	f := film(t, sums.CRC32C, sizes)
	withMD5 := film(t, sums.MD5|sums.CRCs, sizes)
	all := func(o object) map[string]object {
		return map[string]object{"a.mov": o, "b.mov": o, "c.mov": o, "notes.txt": o, "empty": o}
	}
	but := func(plan map[string]object, path string, o object) map[string]object { plan[path] = o; return plan }
	const odd = 5*mib + 12345
	for name, tc := range map[string]struct {
		f       *footage
		plan    map[string]object
		want    []string
		proven  [3]int64
		verdict checks.Status
	}{
		"6 MiB":         {f, all(inParts(6*mib, "md5")), nil, [3]int64{0, 5, 0}, checks.Passed},
		"5 MiB":         {f, all(inParts(5*mib, "md5")), nil, [3]int64{0, 5, 0}, checks.Passed},
		"8 MB":          {f, all(inParts(8_000_000, "md5")), nil, [3]int64{0, 5, 0}, checks.Passed},
		"SHA-256":       {f, all(inParts(5*mib, "sha256")), nil, [3]int64{2, 3, 0}, checks.Passed}, // of one part: from the manifest
		"SHA-1":         {f, all(inParts(5*mib, "sha1")), nil, [3]int64{0, 5, 0}, checks.Passed},
		"CRC-32":        {f, all(inParts(5*mib, "crc32")), nil, [3]int64{0, 5, 0}, checks.Passed},
		"whole SHA-1":   {f, all(object{As: "whole-sha1"}), nil, [3]int64{5, 0, 0}, checks.Passed},
		"whole CRC-32":  {f, all(object{As: "whole-crc32"}), nil, [3]int64{5, 0, 0}, checks.Passed},
		"CRC-32 known":  {withMD5, all(object{As: "whole-crc32"}), nil, [3]int64{5, 0, 0}, checks.Passed},
		"small ones as": {withMD5, but(but(all(inParts(5*mib, "md5")), "notes.txt", object{As: "md5"}), "empty", object{As: "md5"}), nil, [3]int64{2, 3, 0}, checks.Passed},
		"two sizes":     {f, but(all(inParts(5*mib, "md5")), "a.mov", inParts(6*mib, "md5")), nil, [3]int64{0, 5, 0}, checks.Passed},
		"one byte":      {f, but(all(inParts(5*mib, "md5")), "a.mov", flipped(inParts(5*mib, "md5"), 10*mib)), []string{"objects object-checksum a.mov"}, [3]int64{0, 4, 0}, checks.Failed},
		"one byte of a composite": {
			f, but(all(inParts(5*mib, "sha256")), "a.mov", flipped(inParts(5*mib, "sha256"), 0)),
			[]string{"objects object-checksum a.mov"},
			[3]int64{2, 2, 0},
			checks.Failed,
		},
		"one byte, whole":    {f, but(all(object{As: "whole-sha1"}), "c.mov", flipped(object{As: "whole-sha1"}, 5)), []string{"objects object-checksum c.mov"}, [3]int64{4, 0, 0}, checks.Failed},
		"an unusual size":    {f, map[string]object{"a.mov": inParts(odd, "md5")}, []string{"objects checksum-not-comparable a.mov", "objects missing-object b.mov", "objects missing-object c.mov", "objects missing-object empty", "objects missing-object notes.txt"}, [3]int64{0, 0, 1}, checks.Failed},
		"one without":        {f, but(all(inParts(5*mib, "md5")), "b.mov", object{As: "none"}), []string{"objects no-checksums "}, [3]int64{0, 4, 1}, checks.Warned},
		"all unusual":        {f, but(but(all(object{As: "whole-sha1"}), "a.mov", inParts(odd, "md5")), "b.mov", inParts(odd, "md5")), []string{"objects checksum-not-comparable a.mov", "objects checksum-not-comparable b.mov"}, [3]int64{3, 0, 2}, checks.Warned},
		"flipped, and alone": {f, but(all(object{As: "whole-sha1"}), "a.mov", flipped(inParts(5*mib, "md5"), 9)), []string{"objects checksum-not-comparable a.mov"}, [3]int64{4, 0, 1}, checks.Warned},
	} {
		t.Run(name, func(t *testing.T) {
			shapes := tc.f.list(t, tc.plan)
			if !strings.HasPrefix(name, "one byte") {
				shapes = shapes[:1] // one shape is as good as the other
			}
			for _, l := range shapes {
				rep := tc.f.judge(t, l, Options{Source: tc.f.dir})
				if got := found(rep); !slices.Equal(got, tc.want) || proven(t, rep) != tc.proven || rep.Verdict != tc.verdict {
					t.Errorf("%s: %v %v %q\nwant %v %v %q", filepath.Ext(l), rep.Verdict, proven(t, rep), got, tc.verdict, tc.proven, tc.want)
				}
			}
		})
	}
	t.Run("without the disk", func(t *testing.T) {
		for _, l := range f.list(t, all(inParts(5*mib, "md5"))) {
			rep := f.judge(t, l, Options{})
			if got := found(rep); !slices.Equal(got, []string{"objects checksum-not-comparable "}) || proven(t, rep) != [3]int64{0, 0, 5} || rep.Verdict != checks.Warned {
				t.Errorf("%v %v %q", rep.Verdict, proven(t, rep), got)
			}
			if said := strings.Join(rep.Proof, " "); !strings.Contains(said, "-source") || !strings.Contains(said, "the content of 5 files is still to be proven") {
				t.Errorf("how to prove the rest: %q", rep.Proof)
			}
		}
	})
}

// Random sizes of files and parts: whatever a client sends with, in whole MiB or MB, is found.
func TestRandomParts(t *testing.T) {
	r := rand.New(rand.NewPCG(11, 13))
	sizes := map[string]int{}
	plan := map[string]object{}
	for i := range 8 {
		path := fmt.Sprintf("take-%02d.mov", i)
		sizes[path] = 5*mib + r.IntN(15*mib)
		unit := []int{mib, 1_000_000}[r.IntN(2)]
		part := (6 + r.IntN(6)) * unit
		plan[path] = inParts(part, []string{"md5", "sha256", "sha1", "crc32"}[r.IntN(4)])
	}
	f := film(t, sums.CRC32C, sizes)
	for _, l := range f.list(t, plan) {
		rep := f.judge(t, l, Options{Source: f.dir})
		if p := proven(t, rep); rep.Verdict != checks.Passed || p[0]+p[1] != 8 {
			t.Errorf("%v %v %q", rep.Verdict, p, found(rep))
		}
	}
}

// The disk is compared with the manifest before it proves anything.
func TestDiskThatIsNotTheSame(t *testing.T) {
	f := film(t, sums.CRC32C, map[string]int{"a.mov": 12 * mib, "b.mov": 9 * mib, "c.mov": 10 * mib, "d.mov": 8 * mib})
	o := inParts(5*mib, "md5")
	l := f.list(t, map[string]object{"a.mov": o, "b.mov": o, "c.mov": o, "d.mov": o})[0]
	data, err := os.ReadFile(filepath.Join(f.dir, "a.mov"))
	fixture.Must(t, err)
	data[5] ^= 1
	fixture.Must(t, os.WriteFile(filepath.Join(f.dir, "a.mov"), data, 0o600))
	fixture.Must(t, os.WriteFile(filepath.Join(f.dir, "b.mov"), data[:5*mib], 0o600))
	fixture.Must(t, os.Remove(filepath.Join(f.dir, "c.mov")))
	rep := f.judge(t, l, Options{Source: f.dir})
	want := []string{"objects disk-differs a.mov", "objects disk-differs b.mov", "objects checksum-not-comparable c.mov"}
	if got := found(rep); !slices.Equal(got, want) || proven(t, rep) != [3]int64{0, 1, 3} || rep.Verdict != checks.Warned {
		t.Errorf("%v %v %q", rep.Verdict, proven(t, rep), got)
	}
	if _, err := Run(t.Context(), f.manifest, []string{l}, Options{Source: filepath.Join(f.dir, "none")}, nil); err == nil || !strings.Contains(err.Error(), "there is no source folder") {
		t.Errorf("a disk that is not there: %v", err)
	}
}

// What was proven from the disk is remembered while the file is unchanged.
func TestPartsAreRemembered(t *testing.T) {
	f := film(t, sums.CRC32C, map[string]int{"a.mov": 12 * mib, "b.mov": 9 * mib})
	o := inParts(5*mib, "md5")
	l := f.list(t, map[string]object{"a.mov": o, "b.mov": o})[0]
	read := func() [2]int64 {
		rep := f.judge(t, l, Options{Source: f.dir, State: f.state})
		if rep.Verdict != checks.Passed || proven(t, rep) != [3]int64{0, 2, 0} {
			t.Fatalf("%v %v %q", rep.Verdict, proven(t, rep), found(rep))
		}
		text := ""
		for _, fact := range result(t, rep, "objects").Facts {
			if fact.Key == "disk_files" {
				text = fact.Text
			}
		}
		var asked, now, remembered int64
		if _, err := fmt.Sscanf(text, "Files of the disk that were to prove objects: %d, of them %d read now and %d remembered", &asked, &now, &remembered); err != nil {
			t.Fatal(text, err)
		}
		return [2]int64{now, remembered}
	}
	if got := read(); got != [2]int64{2, 0} {
		t.Errorf("at first: %v", got)
	}
	if got := read(); got != [2]int64{0, 2} {
		t.Errorf("again: %v", got)
	}
	// The same content under another date is another state.
	fixture.Must(t, os.Chtimes(filepath.Join(f.dir, "b.mov"), time.Unix(1, 0), time.Unix(1, 0)))
	if got := read(); got != [2]int64{1, 1} {
		t.Errorf("after a change: %v", got)
	}
}
