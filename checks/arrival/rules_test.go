package arrival

import (
	"bytes"
	"encoding/json"
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"loadline/checks"
	"loadline/checks/arrival/listing"
	"loadline/checks/internal/fixture"
	"loadline/checks/internal/sums"
	"loadline/checks/manifest"
)

// covered is a manifest without anything that it does not cover.
func covered(t testing.TB, prefix string, files []*manifest.File) []byte {
	m := bytes.Replace(manifestOf(t, prefix, files), []byte("links=1 others=2 clutter=3"), []byte("links=0 others=0 clutter=0"), 1)
	return reseal(m)
}

// TestEveryRuleHasACase breaks every rule once, and finds rules that nothing here breaks.
func TestEveryRuleHasACase(t *testing.T) {
	files := filesOf(arrived...)
	good := csvOf("Key,Size,SHA-256", "archive/", files, sha)
	m := covered(t, "archive", files)
	twins := filesOf("X", "x")
	disk := film(t, sums.CRC32C, map[string]int{"a": 12 << 20})
	part := 5 << 20
	tags := disk.list(t, map[string]object{"a": {Part: &part, As: "md5"}})[0]
	fixture.WriteFile(t, filepath.Join(disk.dir, "a"), "changed")
	cases := map[string]func() (*checks.Report, error){
		"missing-object": func() (*checks.Report, error) {
			return arrive(t, m, Options{}, strings.Join(strings.SplitAfter(good, "\n")[:3], ""))
		},
		"object-size": func() (*checks.Report, error) {
			return arrive(t, m, Options{}, strings.Replace(good, ",28,", ",27,", 1))
		},
		"object-checksum": func() (*checks.Report, error) {
			return arrive(t, m, Options{}, strings.Replace(good, fmt.Sprintf("%x", files[0].Sums.SHA256), strings.Repeat("0", 64), 1))
		},
		"listed-twice": func() (*checks.Report, error) {
			return arrive(t, m, Options{}, good, "Key,Size\narchive/notes.txt,5\n")
		},
		"no-checksums": func() (*checks.Report, error) {
			return arrive(t, m, Options{}, csvOf("Key,Size", "archive/", files, func(f *manifest.File) []string { return []string{size(f)} }))
		},
		"checksum-not-comparable": func() (*checks.Report, error) {
			return arrive(t, m, Options{}, csvOf("Key,Size,ETag", "archive/", files, func(f *manifest.File) []string { return []string{size(f), strings.Repeat("0", 32) + "-3"} }))
		},
		"disk-differs": func() (*checks.Report, error) {
			return Run(t.Context(), disk.manifest, []string{tags}, Options{Source: disk.dir}, nil)
		},
		"listing-older": func() (*checks.Report, error) {
			return arrive(t, m, Options{}, csvOf("Key,Size,SHA-256,LastModified", "archive/", files, func(f *manifest.File) []string { return append(sha(f), "2031-05-03T00:00:00Z") }))
		},
		"not-covered": func() (*checks.Report, error) { return arrive(t, manifestOf(t, "archive", files), Options{}, good) },
		"two-to-one-key": func() (*checks.Report, error) {
			return arrive(t, covered(t, "", twins), Options{}, csvOf("Key,Size,SHA-256", "", twins[:1], sha))
		},
		"key-form-differs": func() (*checks.Report, error) {
			return arrive(t, m, Options{}, strings.Replace(good, "notes.txt", "Notes.txt", 1))
		},
		"shifted-prefix": func() (*checks.Report, error) {
			return arrive(t, m, Options{}, csvOf("Key,Size,SHA-256", "", files, sha))
		},
		"extra-object": func() (*checks.Report, error) { return arrive(t, m, Options{}, good+"archive/z,1,\n") },
	}
	for _, c := range List() {
		for _, r := range c.Rules {
			run := cases[r.ID]
			if run == nil {
				t.Errorf("rule %s has no case", r.ID)
				continue
			}
			rep, err := run()
			if err != nil {
				t.Errorf("%s: %v", r.ID, err)
				continue
			}
			if rep.Result(c.ID).Rules[r.ID] == 0 {
				t.Errorf("%s was not found: %q", r.ID, found(rep))
			}
			if r.Level != checks.Note && rep.Verdict == checks.Passed {
				t.Errorf("%s and the verdict is %v", r.ID, rep.Verdict)
			}
			delete(cases, r.ID)
		}
	}
	for id := range cases {
		t.Errorf("a case breaks rule %s, which is none", id)
	}
}

// One reading of keys for a whole listing: that under which most files are found; where two tie, as they stand.
// Percent codes: RFC 3986; + as a space: WHATWG URL, application/x-www-form-urlencoded.
func TestReadingOfKeys(t *testing.T) {
	for name, tc := range map[string]struct {
		files, keys []string // in the same order
		reading     string
		want        []string
	}{
		"raw":                       {[]string{"a b", "c+d", "e%20f", "g"}, []string{"a b", "c+d", "e%20f", "g"}, "raw", nil},
		"percent":                   {[]string{"a b", "c+d", "e%20f", "g"}, []string{"a%20b", "c+d", "e%2520f", "g"}, "percent", nil},
		"plus":                      {[]string{"a b", "c+d", "e%20f", "g"}, []string{"a+b", "c%2Bd", "e%2520f", "g"}, "plus", nil},
		"nothing to decode":         {[]string{"a", "b"}, []string{"a", "b"}, "raw", nil},
		"a tie counts as it stands": {[]string{"a%20b", "c d"}, []string{"a%20b", "c%20d"}, "raw", []string{"objects missing-object c d"}},
		"most count":                {[]string{"a%20b", "c d", "e f"}, []string{"a%20b", "c%20d", "e%20f"}, "percent", []string{"objects missing-object a%20b"}},
	} {
		t.Run(name, func(t *testing.T) {
			text := "key,size,sha256\n"
			byName := map[string]*manifest.File{}
			for _, f := range filesOf(slices.Clone(tc.files)...) {
				byName[string(f.Path)] = f
			}
			for i, key := range tc.keys {
				f := byName[tc.files[i]]
				text += fmt.Sprintf("in box/%s,%d,%x\n", key, f.Size, f.Sums.SHA256)
				if tc.reading != "raw" {
					text = strings.ReplaceAll(text, "in box/", map[string]string{"percent": "in%20box/", "plus": "in+box/"}[tc.reading])
				}
			}
			rep, err := arrive(t, covered(t, "in box", filesOf(slices.Clone(tc.files)...)), Options{}, text)
			fixture.Must(t, err)
			if got := rep.Result("objects").Fact("reading").Value; got != tc.reading || !slices.Equal(found(rep), tc.want) {
				t.Errorf("read %v, found %q; want %s, %q", got, found(rep), tc.reading, tc.want)
			}
		})
	}
}

// A listing that is not whole leaves everything "Not checked": nothing is called missing, nothing is green. What
// differs is reported all the same.
func TestPartialListing(t *testing.T) {
	files := filesOf(arrived...)
	m := covered(t, "archive", files)
	page := func(from, to int, next string) string {
		type object struct {
			Key    string
			Size   int64
			SHA256 string
		}
		doc := map[string]any{"IsTruncated": next != ""}
		if next != "" {
			doc["NextMarker"] = next
		}
		var list []object
		for _, f := range files[from:to] {
			list = append(list, object{"archive/" + string(f.Path), f.Size, fmt.Sprintf("%x", f.Sums.SHA256)})
		}
		doc["Contents"] = list
		text, _ := json.Marshal(doc)
		return string(text)
	}
	one, two := page(0, 3, "archive/x"), page(3, 5, "")
	rep, err := arrive(t, m, Options{}, one, two)
	if err != nil || rep.Verdict != checks.Passed {
		t.Fatalf("both pages: %v, %q", err, found(rep))
	}
	rep, err = arrive(t, m, Options{}, one)
	fixture.Must(t, err)
	c := rep.Result("objects")
	if rep.Verdict == checks.Passed || c.Status != checks.Unknown || rep.Result("keys").Status != checks.Unknown || len(c.Findings) > 0 || !strings.Contains(c.Reason, "more follows") {
		t.Errorf("%v, %v %q, %q", rep.Verdict, c.Status, c.Reason, found(rep))
	}
	rep, err = arrive(t, m, Options{}, strings.Replace(one, `"Size":28`, `"Size":29`, 1))
	fixture.Must(t, err)
	if c = rep.Result("objects"); c.Status != checks.Failed || !slices.Equal(found(rep), []string{"objects object-size day1/cam/A001.mov"}) {
		t.Errorf("%v %q", c.Status, found(rep))
	}
	// A page that claims to be whole and is not is a subset: red.
	if rep, err = arrive(t, m, Options{}, page(0, 3, "")); err != nil || rep.Verdict != checks.Failed {
		t.Errorf("a false mark: %v, %q", err, found(rep))
	}
}

// What looks like a listing of less than the archive is reported as such.
func TestSubsets(t *testing.T) {
	files := filesOf("a/1", "a/2", "b/1", "b/2", "c")
	m := covered(t, "", files)
	for _, tc := range []struct {
		list []*manifest.File
		want string
	}{
		{files[:3], "may have been cut off"},
		{files[:2], "Everything found is in a, and nothing in that folder is missing"},
		{[]*manifest.File{files[0], files[2], files[4]}, ""},
	} {
		rep, err := arrive(t, m, Options{}, csvOf("Key,Size,SHA-256", "", tc.list, sha))
		fixture.Must(t, err)
		s := rep.Result("objects").Summary
		if rep.Verdict != checks.Failed || !strings.Contains(s, tc.want) || tc.want == "" && !strings.HasSuffix(s, "different.") {
			t.Errorf("%v %q, want %q", rep.Verdict, s, tc.want)
		}
	}
}

// What else is given in place of a listing is recognized for what it is.
func TestNoListing(t *testing.T) {
	files := filesOf(arrived...)
	m := covered(t, "archive", files)
	rep, err := arrive(t, m, Options{}, csvOf("Key,Size,SHA-256", "archive/", files, sha))
	fixture.Must(t, err)
	var own bytes.Buffer
	fixture.Must(t, rep.WriteJSON(&own))
	for what, text := range map[string]string{
		"manifest": string(m),
		"report":   own.String(),
		"plan":     `{"schema":1,"plan":[{"from":"notes.txt","to":"Notes.txt","rules":["x"]}],"left":[]}`,
		"names":    "archive/notes.txt\narchive/day1/cam/A001.mov\n",
		"page":     "<!DOCTYPE html><html><body>archive/notes.txt</body></html>",
		"older":    "Key,Size\nelsewhere/a,1\n",
	} {
		rep, err := arrive(t, m, Options{}, text)
		if job, ok := err.(*checks.JobError); rep != nil || !ok || job.Field != checks.FieldListing || job.Hint == "" {
			t.Errorf("%s: %v, %v", what, rep, err)
		} else {
			t.Logf("%s: %v", what, err)
		}
	}
}

// Two listings that contradict each other in what nobody here can prove are said to, and not merged.
func TestListingsThatContradict(t *testing.T) {
	files := filesOf("a.mov", "b.mov")
	m := covered(t, "", files)
	tag := func(c string, n int) string {
		return csvOf("Key,Size,ETag", "", files[:1], func(f *manifest.File) []string {
			return []string{size(f), fmt.Sprintf("%s-%d", strings.Repeat(c, 32), n)}
		})
	}
	rest := csvOf("Key,Size,SHA-256", "", files[1:], sha)
	for _, tc := range []struct {
		listings []string
		want     []string
	}{
		{[]string{tag("a", 2), tag("b", 2), rest}, []string{"objects listed-twice a.mov"}},
		{[]string{tag("a", 2), tag("a", 2), rest}, []string{"objects checksum-not-comparable "}},
		{[]string{tag("a", 2), tag("b", 3), rest}, []string{"objects checksum-not-comparable "}},
		{[]string{tag("a", 2), csvOf("Key,Size,SHA-256", "", files, sha)}, nil}, // one proves what the other could not
		{[]string{csvOf("Key,Size", "", files, func(f *manifest.File) []string { return []string{size(f)} }), csvOf("Key,Size,SHA-256", "", files, sha)}, nil},
		{[]string{csvOf("Key,Size,MD5", "", files, func(f *manifest.File) []string { return []string{size(f), strings.Repeat("0", 32)} }), csvOf("Key,Size,SHA-256", "", files, sha)}, []string{
			"objects listed-twice a.mov", "objects object-checksum a.mov", "objects listed-twice b.mov", "objects object-checksum b.mov",
		}},
	} {
		rep, err := arrive(t, m, Options{}, tc.listings...)
		fixture.Must(t, err)
		if got := found(rep); !slices.Equal(got, tc.want) {
			t.Errorf("%q, want %q", got, tc.want)
		}
	}
}

// Of several boxes: each file of the archive is there once, twice or not at all.
func TestSeveralManifests(t *testing.T) {
	files := filesOf("a", "b", "c", "d")
	dir := t.TempDir()
	write := func(name string, text []byte) string {
		p := filepath.Join(dir, name)
		fixture.WriteFile(t, p, string(text))
		return p
	}
	list := func(prefix string, some []*manifest.File) string { return csvOf("Key,Size,SHA-256", prefix, some, sha) }
	body := func(s string) string { return strings.SplitN(s, "\n", 2)[1] }
	count := func(rep *checks.Report) [3]int64 {
		c := rep.Result("objects")
		get := func(k string) int64 { n, _ := c.Fact(k).Value.(int64); return n }
		return [3]int64{get("there_never"), get("there_once"), get("there_twice")}
	}
	for name, tc := range map[string]struct {
		one, two []*manifest.File
		head     [2]string
		listing  string
		want     []string
		count    [3]int64
		verdict  checks.Status
	}{
		"two halves, one folder": {files[:2], files[2:], [2]string{"archive", "archive"}, list("archive/", files), nil, [3]int64{0, 4, 0}, checks.Passed},
		"two halves, two folders": {
			files[:2], files[2:],
			[2]string{"box1", "box2"},
			list("box1/", files[:2]) + body(list("box2/", files[2:])),
			nil,
			[3]int64{0, 4, 0},
			checks.Passed,
		},
		"two copies": {files, files, [2]string{"box1", "box2"}, list("box1/", files) + body(list("box2/", files)), nil, [3]int64{0, 0, 4}, checks.Passed},
		"one of two copies lacks a file": {
			files, files,
			[2]string{"box1", "box2"},
			list("box1/", files) + body(list("box2/", files[1:])),
			[]string{"objects missing-object a"},
			[3]int64{0, 1, 3},
			checks.Warned,
		},
		"one is nowhere": {
			files, files,
			[2]string{"box1", "box2"},
			list("box1/", files[1:]) + body(list("box2/", files[1:])),
			[]string{"objects missing-object a", "objects missing-object a"},
			[3]int64{1, 0, 3},
			checks.Failed,
		},
		"the second box has not come": {
			files[:2], files[2:],
			[2]string{"box1", "box2"},
			list("box1/", files[:2]),
			[]string{"objects missing-object c", "objects missing-object d"},
			[3]int64{2, 2, 0},
			checks.Failed,
		},
	} {
		t.Run(name, func(t *testing.T) {
			one, two := write("one", covered(t, tc.head[0], tc.one)), write("two", covered(t, tc.head[1], tc.two))
			rep, err := Run(t.Context(), one, []string{write("list", []byte(tc.listing))}, Options{Also: []string{two}}, nil)
			fixture.Must(t, err)
			if got := found(rep); !slices.Equal(got, tc.want) || count(rep) != tc.count || rep.Verdict != tc.verdict {
				t.Errorf("%v %v %q; want %v %v %q", rep.Verdict, count(rep), got, tc.verdict, tc.count, tc.want)
			}
			if rep.Totals.Files != int64(len(tc.one)+len(tc.two)) {
				t.Errorf("totals %+v", rep.Totals)
			}
		})
	}
	one := write("one", covered(t, "a", files))
	for _, also := range []string{one, filepath.Join(dir, "none"), write("bad", []byte("x"))} {
		_, err := Run(t.Context(), one, []string{write("list", []byte(list("a/", files)))}, Options{Also: []string{also}}, nil)
		if job, ok := err.(*checks.JobError); !ok || job.Field != checks.FieldManifest {
			t.Errorf("also %s: %v", also, err)
		}
	}
}

// The verdict names the second copy that was rechecked, and when, or says that there is none.
func TestSecondCopy(t *testing.T) {
	files := filesOf(arrived...)
	dir, state := t.TempDir(), t.TempDir()
	m, l := filepath.Join(dir, "m"), filepath.Join(dir, "l")
	fixture.WriteFile(t, m, string(covered(t, "archive", files)))
	fixture.WriteFile(t, l, csvOf("Key,Size,SHA-256", "archive/", files, sha))
	x, err := manifest.Load(t.Context(), m, manifest.Keep{}, nil)
	fixture.Must(t, err)
	seal := x.Seal
	says := func(want string) {
		t.Helper()
		rep, err := Run(t.Context(), m, []string{l}, Options{State: state}, nil)
		fixture.Must(t, err)
		var text bytes.Buffer
		fixture.Must(t, rep.WriteText(&text))
		if plain := strings.Join(strings.Fields(text.String()), " "); rep.Verdict != checks.Passed || !strings.Contains(plain, want) || !strings.Contains(plain, "You may erase the disk.") {
			t.Errorf("does not say %q:\n%s", want, text.String())
		}
	}
	remember := func(folder string, day int, read int64) {
		fixture.Must(t, manifest.Remember(state, seal, &manifest.Rechecked{Folder: folder, When: time.Date(2031, 6, day, 10, 0, 0, 0, time.UTC), Files: read, Of: 5}))
	}
	says("How the 5 files were proven: 5 by a checksum of the content.")
	const none = "Loadline knows of no second copy: with the disk erased, the store would hold the only one."
	says(none)
	remember("/media/\"disk\n", 1, 5) // the disk itself
	says(none)
	remember("/media/second", 2, 2)
	says("A second copy: 2 of its 5 files, chosen at random, in /media/second were compared with this manifest on 2 June 2031 10:00, and good.")
	remember("/media/third", 3, 5)
	says("A second copy: every byte of it in /media/third was compared with this manifest on 3 June 2031 10:00, and good.")
	remember("/media/second", 4, 2)
	says("every byte of it in /media/third")
	fixture.Must(t, manifest.Forget(state, seal, "/media/third"))
	says("in /media/second were compared with this manifest on 4 June 2031")
}

func unhex(t testing.TB, s string) string {
	var out []byte
	if _, err := fmt.Sscanf(s, "%x", &out); err != nil {
		t.Fatal(s, err)
	}
	return string(out)
}

// What the window shows before the comparison.
func TestInspect(t *testing.T) {
	files := filesOf("a b/1", "a b/2", "c")
	dir := t.TempDir()
	m, l := filepath.Join(dir, "m"), filepath.Join(dir, "l")
	fixture.WriteFile(t, m, string(covered(t, "archive", files)))
	fixture.WriteFile(t, l, strings.ReplaceAll(csvOf("Key,Size,SHA-256", "import/", files, sha), " ", "%20"))
	u, err := Inspect(t.Context(), m, []string{l}, Options{}, 10)
	fixture.Must(t, err)
	if len(u.Rows) != 3 || u.Matched != 3 || u.Reading != listing.Percent || u.Head != "import/" || u.Format.Shape != listing.Table {
		t.Errorf("%+v", u)
	}
	if u, err = Inspect(t.Context(), "", []string{l}, Options{}, 1); err != nil || u.Matched != -1 || len(u.Rows) != 1 {
		t.Errorf("%+v, %v", u, err)
	}
	if _, err = Inspect(t.Context(), l, []string{l}, Options{}, 1); err == nil {
		t.Error("a listing in place of the manifest")
	}
	if _, err = Inspect(t.Context(), m, []string{m}, Options{}, 1); err == nil {
		t.Error("a manifest in place of the listing")
	}
}
