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
	"loadline/checks/digest"
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
	c := rep.Result("objects")
	get := func(key string) int64 { n, _ := c.Fact(key).Value.(int64); return n }
	return [3]int64{get("proven_content"), get("proven_parts"), get("size_only")}
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
		for _, fact := range rep.Result("objects").Facts {
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

// A state folder that cannot be one, here because a file stands in its place, costs no proof: the report says that
// nothing was remembered.
func TestPartsThatCannotBeRemembered(t *testing.T) {
	f := film(t, sums.CRC32C, map[string]int{"a.mov": 12 * mib})
	l := f.list(t, map[string]object{"a.mov": inParts(5*mib, "md5")})[0]
	state := filepath.Join(t.TempDir(), "state")
	fixture.WriteFile(t, state, "a file")
	rep := f.judge(t, l, Options{Source: f.dir, State: state})
	if rep.Verdict != checks.Passed || proven(t, rep) != [3]int64{0, 1, 0} {
		t.Errorf("%v %v", rep.Verdict, proven(t, rep))
	}
	if why, _ := rep.Result("objects").Fact(digest.MemoryError).Value.(string); why == "" {
		t.Error("the report does not say that nothing was remembered")
	}
}
