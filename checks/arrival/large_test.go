//go:build !race

package arrival

import (
	"bytes"
	"encoding/json"
	"fmt"
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

// Every shape that Python writes of one archive gives one verdict: what its rows hold, and nothing else.
func TestShapesAgree(t *testing.T) {
	dir := t.TempDir()
	if said, err := exec.Command("python3", "listing/testdata/shapes.py", dir).CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, said)
	}
	var expect map[string]struct{ Objects [][4]any }
	text, err := os.ReadFile(filepath.Join(dir, "expect.json"))
	fixture.Must(t, err)
	fixture.Must(t, json.Unmarshal(text, &expect))
	fixture.Must(t, os.Remove(filepath.Join(dir, "expect.json")))
	// The manifest is that of the widest listing; keys are contents, in shapes.py. A key may name what no path can.
	var files []*manifest.File
	in := map[string]bool{}
	for _, o := range expect["header-comma.csv"].Objects {
		key := unhex(t, o[0].(string))
		path, _ := strings.CutPrefix(key, "archive/")
		if path == "" || slices.ContainsFunc(strings.Split(path, "/"), func(s string) bool { return s == "" || s == "." || s == ".." }) {
			continue
		}
		in[o[0].(string)] = true
		files = append(files, &manifest.File{Path: []byte(path), Size: int64(o[1].(float64)), Sums: sums.Of(sums.MD5|sums.CRCs, []byte(key))})
	}
	slices.SortFunc(files, func(a, b *manifest.File) int { return bytes.Compare(a.Path, b.Path) })
	h := &manifest.Header{Made: time.Date(2031, 5, 4, 3, 2, 1, 0, time.UTC), Source: "/media/disk", Prefix: "archive"}
	for _, f := range files {
		h.Files++
		h.Bytes += f.Size
	}
	var b bytes.Buffer
	fixture.Must(t, manifest.Write(&b, h, slices.Values(files)))
	m := filepath.Join(t.TempDir(), "m")
	fixture.WriteFile(t, m, b.String())
	n := 0
	for file, w := range expect {
		rep, err := Run(t.Context(), m, []string{filepath.Join(dir, file)}, Options{}, nil)
		if err != nil {
			t.Errorf("%s: %v", file, err)
			continue
		}
		n++
		c := rep.Result("objects")
		there := 0
		for _, o := range w.Objects {
			if in[o[0].(string)] {
				there++
			}
		}
		if got := c.Rules["missing-object"]; got != int64(len(files)-there) || c.Rules["object-size"]+c.Rules["object-checksum"]+c.Rules["listed-twice"] > 0 {
			t.Errorf("%s: %v, %d missing of %d, rules %v", file, rep.Verdict, got, len(files), c.Rules)
		}
		if there == len(files) && rep.Verdict == checks.Failed {
			t.Errorf("%s: %q", file, found(rep)[:min(5, len(found(rep)))])
		}
	}
	if n < 60 {
		t.Errorf("%d shapes", n)
	}
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
