package arrival

import (
	"bytes"
	"compress/gzip"
	"context"
	"encoding/base64"
	"encoding/binary"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"loadline/checks"
	"loadline/checks/arrival/listing"
	"loadline/checks/internal/fixture"
	"loadline/checks/internal/sums"
	"loadline/checks/manifest"
)

// arrive compares a manifest with listings that are given as text.
func arrive(t testing.TB, manifest []byte, o Options, listings ...string) (*checks.Report, error) {
	t.Helper()
	dir := t.TempDir()
	m := filepath.Join(dir, "m.sha256")
	fixture.WriteFile(t, m, string(manifest))
	var paths []string
	for i, l := range listings {
		p := filepath.Join(dir, fmt.Sprint("listing", i))
		fixture.WriteFile(t, p, l)
		paths = append(paths, p)
	}
	return Run(t.Context(), m, paths, o, nil)
}

// The files that every case is about.
var arrived = []string{"day1/cam/A001.mov", "day1/cam/A002.mov", "day1/sound/1.wav", "day2/b,c \"d\".mov", "notes.txt"}

// csvOf lists files as a store does: prefix, then what column returns for each.
func csvOf(header, prefix string, files []*manifest.File, columns func(*manifest.File) []string) string {
	var b strings.Builder
	w := csv.NewWriter(&b)
	_ = w.Write(strings.Split(header, ",")) // into memory
	for _, f := range files {
		_ = w.Write(append([]string{prefix + string(f.Path)}, columns(f)...))
	}
	w.Flush()
	return b.String()
}

func size(f *manifest.File) string { return fmt.Sprint(f.Size) }

func sha(f *manifest.File) []string { return []string{size(f), fmt.Sprintf("%x", f.Sums.SHA256)} }

func TestArrivalGood(t *testing.T) {
	files := filesOf(arrived...)
	jsonOf := func(name func(*manifest.File) string) string {
		var b strings.Builder
		for _, f := range files {
			row, _ := json.Marshal(map[string]any{"Key": name(f), "Size": f.Size, "ETag": fmt.Sprintf("\"%x\"", f.Sums.MD5), "Deleted": false, "Owner": map[string]string{"id": "x"}})
			b.Write(append(row, '\n'))
		}
		return b.String()
	}
	sums := func(prefix string) string {
		var b []byte
		for _, f := range files {
			b = manifest.AppendSumLine(b, f.Sums.SHA256[:], []byte(prefix+string(f.Path)))
		}
		return string(b)
	}
	zipped := func(s string) string {
		var b bytes.Buffer
		z := gzip.NewWriter(&b)
		_, _ = z.Write([]byte(s)) // into memory
		_ = z.Close()
		return b.String()
	}
	base := func(b []byte) string { return base64.StdEncoding.EncodeToString(b) }
	withSHA := csvOf("Key,Size,SHA-256", "archive/", files, sha)
	for name, tc := range map[string]struct {
		listings []string
		reads    string // how the first is read
		compared string // the fact that counts all files
	}{
		"CSV, SHA-256":        {[]string{withSHA}, "table with commas: key from Key, size from Size, SHA-256 from SHA-256", "compared_sha256"},
		"CRLF":                {[]string{strings.ReplaceAll(withSHA, "\n", "\r\n")}, "table with commas: ", "compared_sha256"},
		"no LF at the end":    {[]string{strings.TrimSuffix(withSHA, "\n")}, "table with commas: ", "compared_sha256"},
		"byte order mark":     {[]string{"\xef\xbb\xbf" + withSHA}, "table with commas: ", "compared_sha256"},
		"gzip":                {[]string{zipped(withSHA)}, "table with commas, gzip: ", "compared_sha256"},
		"gzip in two members": {[]string{zipped(withSHA[:50]) + zipped(withSHA[50:])}, "table with commas, gzip: ", "compared_sha256"},
		"two files": {[]string{
			csvOf("key,bytes,md5", "archive/", files[:2], func(f *manifest.File) []string { return []string{size(f), base(f.Sums.MD5[:])} }),
			csvOf("Object Name,Content-Length,Content-MD5", "archive/", files[2:], func(f *manifest.File) []string { return []string{size(f), fmt.Sprintf("%X", f.Sums.MD5)} }),
		}, "table with commas: key from key, size from bytes, MD5 from md5", "compared_md5"},
		"semicolons": {[]string{"Name;Size;Checksum\n" + func() (s string) {
			for _, f := range files {
				s += fmt.Sprintf("\"archive/%s\";%d;sha256:%x\n", strings.ReplaceAll(string(f.Path), `"`, `""`), f.Size, f.Sums.SHA256)
			}
			return s
		}()}, "table with semicolons: key from Name, size from Size, checksum from Checksum", "compared_sha256"},
		"TSV, CRC-32C": {[]string{"key\tsize\tcrc32c\n" + func() (s string) {
			for _, f := range files {
				s += fmt.Sprintf("archive/%s\t%d\t%s\n", f.Path, f.Size, base(binary.BigEndian.AppendUint32(nil, f.Sums.CRC32C)))
			}
			return s
		}()}, "table with tabs: key from key, size from size, CRC-32C from crc32c", "compared_crc32c"},
		"JSON lines, tags":            {[]string{jsonOf(func(f *manifest.File) string { return "archive/" + string(f.Path) })}, "JSON lines: deleted from Deleted, tag from ETag, key from Key, size from Size", "compared_md5"},
		"sha256sum":                   {[]string{sums("archive/")}, "checksum lines", "compared_sha256"},
		"sha256sum, CRLF":             {[]string{strings.ReplaceAll(sums("archive/"), "\n", "\r\n")}, "checksum lines", "compared_sha256"},
		"an object for each folder":   {[]string{csvOf("Key,Size,SHA-256", "", []*manifest.File{{Path: []byte("archive/")}, {Path: []byte("archive/day1/")}}, func(*manifest.File) []string { return []string{"0", ""} }) + strings.SplitN(withSHA, "\n", 2)[1]}, "table with commas: ", "compared_sha256"},
		"other archives in the store": {[]string{withSHA + "elsewhere/x,1,\nelsewhere/y,2,\n"}, "table with commas: ", "compared_sha256"},
		"the manifest itself":         {[]string{withSHA + "loadline-20310504T030201Z.sha256,999,\narchive/loadline-20310504T030201Z-2.sha256,999,\n"}, "table with commas: ", "compared_sha256"},
		"everything twice, alike":     {[]string{withSHA, withSHA}, "table with commas: ", "compared_sha256"},
		"keys coded":                  {[]string{strings.NewReplacer(" ", "%20", `""`, "%22").Replace(csvOf("Key,Size,SHA_256", "archive/", files, sha))}, "table with commas: ", "compared_sha256"},
	} {
		t.Run(name, func(t *testing.T) {
			m := manifestOf(t, "archive", files)
			m = bytes.Replace(m, []byte("links=1 others=2 clutter=3"), []byte("links=0 others=0 clutter=0"), 1)
			rep, err := arrive(t, reseal(m), Options{}, tc.listings...)
			fixture.Must(t, err)
			if rep.Verdict != checks.Passed || len(found(rep)) > 0 {
				t.Fatalf("verdict %v, found %q", rep.Verdict, found(rep))
			}
			c := rep.Result("objects")
			if n := c.Fact(tc.compared).Value; n != int64(len(files)) {
				t.Errorf("%s = %v, want %d", tc.compared, n, len(files))
			}
			if got, _ := c.Fact("listing_1").Value.(string); !strings.HasPrefix(got, tc.reads) {
				t.Errorf("read as %q, want %q…", got, tc.reads)
			}
			if n := rep.Result("keys").Rules["extra-object"]; n != 0 {
				t.Errorf("%d extra objects", n)
			}
		})
	}
}

// reseal puts a seal under a manifest that a test has changed.
func reseal(m []byte) []byte {
	at := bytes.LastIndex(m, []byte("# seal "))
	sum := sums.Of(sums.MD5|sums.CRCs, m[:at])
	return append(m[:at:at], fmt.Sprintf("# seal %x\n", sum.SHA256)...)
}

func TestArrivalBad(t *testing.T) {
	files := filesOf(arrived...)
	rows := strings.SplitAfter(csvOf("Key,Size,SHA-256", "archive/", files, sha), "\n")
	with := func(change func(rows []string) []string) string {
		return strings.Join(change(slices.Clone(rows)), "")
	}
	tagged := func(tag func(i int, f *manifest.File) string) string {
		i := -1
		return csvOf("Key,Size,ETag", "archive/", files, func(f *manifest.File) []string { i++; return []string{size(f), tag(i, f)} })
	}
	plainSizes := csvOf("Key,Size", "archive/", files, func(f *manifest.File) []string { return []string{size(f)} })
	for name, tc := range map[string]struct {
		listing string
		want    []string
		verdict checks.Status
	}{
		"missing": {with(func(r []string) []string { return slices.Delete(r, 2, 3) }), []string{"objects missing-object day1/cam/A002.mov"}, checks.Failed},
		"cut after a row": {with(func(r []string) []string { return r[:3] }), []string{
			"objects missing-object day1/sound/1.wav", `objects missing-object day2/b,c "d".mov`, "objects missing-object notes.txt",
		}, checks.Failed},
		"size": {with(func(r []string) []string { r[1] = strings.Replace(r[1], ",28,", ",27,", 1); return r }), []string{"objects object-size day1/cam/A001.mov"}, checks.Failed},
		"checksum": {with(func(r []string) []string {
			r[1] = strings.TrimSpace(r[1])
			r[1] = r[1][:len(r[1])-1] + map[bool]string{true: "1", false: "0"}[strings.HasSuffix(r[1], "0")] + "\n"
			return r
		}), []string{"objects object-checksum day1/cam/A001.mov"}, checks.Failed},
		"swapped": {with(func(r []string) []string {
			a, b := strings.SplitN(r[1], ",", 2), strings.SplitN(r[2], ",", 2)
			r[1], r[2] = a[0]+","+b[1], b[0]+","+a[1]
			return r
		}), []string{"objects object-checksum day1/cam/A001.mov", "objects object-checksum day1/cam/A002.mov"}, checks.Failed},
		"listed twice, not alike":  {with(func(r []string) []string { return append(r, "archive/notes.txt,5,\n") }), []string{"objects listed-twice notes.txt"}, checks.Failed},
		"no checksums":             {plainSizes, []string{"objects no-checksums "}, checks.Warned},
		"no checksums and missing": {strings.Join(strings.SplitAfter(plainSizes, "\n")[:5], ""), []string{"objects no-checksums ", "objects missing-object notes.txt"}, checks.Failed},
		"multi-part tags": {tagged(func(i int, f *manifest.File) string {
			if i == 0 {
				return `"9b2cf535f27731c974343645a3985328-12"`
			}
			return fmt.Sprintf("%x", f.Sums.MD5)
		}), []string{"objects checksum-not-comparable "}, checks.Warned},
		"a tag that is not the MD5": {tagged(func(i int, f *manifest.File) string {
			if i == 1 {
				return "0123456789abcdef0123456789abcdef"
			}
			return fmt.Sprintf("%x", f.Sums.MD5)
		}), []string{"objects object-checksum day1/cam/A002.mov"}, checks.Failed},
		"a checksum of another kind": {csvOf("Key,Size,SHA1", "archive/", files, func(f *manifest.File) []string { return []string{size(f), "2fd4e1c67a2d28fced849ee1bb76e7391b93eb12"} }), []string{"objects checksum-not-comparable "}, checks.Warned},
		"another prefix":             {csvOf("Key,Size,SHA-256", "import/2031/archive/", files, sha), []string{"keys shifted-prefix "}, checks.Warned},
		"no prefix":                  {csvOf("Key,Size,SHA-256", "", files, sha), []string{"keys shifted-prefix "}, checks.Warned},
		"below a folder": {csvOf("Key,Size,SHA-256", "", filesOf("A001.mov", "A002.mov"), func(f *manifest.File) []string {
			g := filesOf("day1/cam/" + string(f.Path))[0]
			return sha(g)
		}), []string{
			"objects missing-object day1/sound/1.wav", `objects missing-object day2/b,c "d".mov`, "objects missing-object notes.txt", "keys shifted-prefix ",
		}, checks.Failed},
	} {
		t.Run(name, func(t *testing.T) {
			m := reseal(bytes.Replace(manifestOf(t, "archive", files), []byte("links=1 others=2"), []byte("links=0 others=0"), 1))
			rep, err := arrive(t, m, Options{}, tc.listing)
			fixture.Must(t, err)
			if got := found(rep); !slices.Equal(got, tc.want) || rep.Verdict != tc.verdict {
				t.Errorf("verdict %v, found %q\nwant %v, %q", rep.Verdict, got, tc.verdict, tc.want)
			}
		})
	}
}

// Names that differ in form or case only: an object under another spelling is the file; one object
// for two files is not.
func TestArrivalForms(t *testing.T) {
	const nfc, nfd = "caf\u00e9.mov", "cafe\u0301.mov"
	clean := func(files []*manifest.File) []byte {
		return reseal(bytes.Replace(manifestOf(t, "", files), []byte("links=1 others=2"), []byte("links=0 others=0"), 1))
	}
	for name, tc := range map[string]struct {
		files []string
		keys  map[string]string // key to the file whose content it has
		want  []string
	}{
		"normal form": {[]string{"a/" + nfd, "b"}, map[string]string{"a/" + nfc: "a/" + nfd, "b": "b"}, []string{"keys key-form-differs a/" + nfd}},
		"case":        {[]string{"a/X.MOV", "b"}, map[string]string{"a/x.mov": "a/X.MOV", "b": "b"}, []string{"keys key-form-differs a/X.MOV"}},
		"all of them": {[]string{nfd}, map[string]string{nfc: nfd}, []string{"keys key-form-differs " + nfd}},
		"normal form, other content": {[]string{"a/" + nfd, "b"}, map[string]string{"a/" + nfc: "b", "b": "b"}, []string{
			"objects object-size a/" + nfd, "objects object-checksum a/" + nfd, "keys key-form-differs a/" + nfd,
		}},
		"two to one, by form": {[]string{nfc, nfd}, map[string]string{nfc: nfc}, []string{"objects missing-object " + nfd, "keys two-to-one-key " + nfd}},
		"two to one, by case": {[]string{"a/X", "a/x"}, map[string]string{"a/x": "a/X"}, []string{
			"objects missing-object a/X", "objects object-checksum a/x", "keys two-to-one-key a/X",
		}},
		"two to one, under a third": {[]string{"a/X", "a/x", "b"}, map[string]string{"A/X": "a/X", "b": "b"}, []string{
			"objects missing-object a/x", "keys two-to-one-key a/x", "keys key-form-differs a/X",
		}},
		"both forms are two files": {[]string{nfc, nfd}, map[string]string{nfc: nfc, nfd: nfd}, nil},
	} {
		t.Run(name, func(t *testing.T) {
			listing := "key,size,sha256\n"
			for _, key := range slices.Sorted(mapKeys(tc.keys)) {
				f := filesOf(tc.keys[key])[0]
				listing += fmt.Sprintf("%s,%d,%x\n", key, f.Size, f.Sums.SHA256)
			}
			rep, err := arrive(t, clean(filesOf(tc.files...)), Options{}, listing)
			fixture.Must(t, err)
			got := found(rep)
			slices.Sort(got)
			slices.Sort(tc.want)
			if !slices.Equal(got, tc.want) {
				t.Errorf("found %q, want %q", got, tc.want)
			}
		})
	}
}

func mapKeys(m map[string]string) func(func(string) bool) {
	return func(yield func(string) bool) {
		for k := range m {
			if !yield(k) {
				return
			}
		}
	}
}

// Where a store encrypts with a key of its own no tag is the MD5: then tags tell nothing, but that
// is a warning and no pass. From ten objects on (see tagsToJudge).
func TestArrivalTagsOfAnotherKind(t *testing.T) {
	for n, want := range map[int]checks.Status{9: checks.Failed, 10: checks.Warned} {
		var paths []string
		for i := range n {
			paths = append(paths, fmt.Sprint("f", i))
		}
		files := filesOf(paths...)
		rep, err := arrive(t, manifestOf(t, "", files), Options{}, csvOf("Key,Size,ETag", "", files, func(f *manifest.File) []string {
			return []string{size(f), fmt.Sprintf("%x", sums.Of(sums.MD5|sums.CRCs, []byte("key"), f.Path).MD5)}
		}))
		fixture.Must(t, err)
		if rep.Verdict != want || rep.Result("objects").Status != want {
			t.Errorf("%d objects: %v, %q, want %v", n, rep.Verdict, found(rep), want)
		}
	}
}

// What the manifest does not cover stands in the way of a clean pass.
func TestArrivalNotCovered(t *testing.T) {
	files := filesOf(arrived...)
	rep, err := arrive(t, manifestOf(t, "archive", files), Options{}, csvOf("Key,Size,SHA-256", "archive/", files, sha))
	fixture.Must(t, err)
	if got := found(rep); rep.Verdict != checks.Warned || !slices.Equal(got, []string{"objects not-covered "}) {
		t.Errorf("verdict %v, found %q", rep.Verdict, got)
	}
}

func TestArrivalExtras(t *testing.T) {
	files := filesOf(arrived...)
	rep, err := arrive(t, manifestOf(t, "archive", files), Options{}, csvOf("Key,Size,SHA-256", "archive/", append(filesOf("z.mov"), files...), sha))
	fixture.Must(t, err)
	k := rep.Result("keys")
	if k.Rules["extra-object"] != 1 || k.Findings[0].Path != "z.mov" || k.Status != checks.Passed {
		t.Errorf("keys: %+v", k)
	}
}

// Nothing that cannot be trusted is ever a report, let alone a pass.
func TestArrivalRefused(t *testing.T) {
	files := filesOf(arrived...)
	good := csvOf("Key,Size,SHA-256", "archive/", files, sha)
	var z bytes.Buffer
	w := gzip.NewWriter(&z)
	_, _ = w.Write([]byte(strings.Repeat(good, 50)))
	_ = w.Close()
	for name, tc := range map[string]struct {
		listing, want string
	}{
		"empty":                      {"", "empty"},
		"blank":                      {"\n\n", "empty"},
		"header only":                {"Key,Size\n", "lists no object"},
		"cut in a row":               {good[:strings.LastIndex(good, ",")], "line 6"},
		"cut in quotes":              {"Key,Size\n\"archive/no", "line 2"},
		"cut gzip":                   {z.String()[:z.Len()/2], "cut off"},
		"gzip head only":             {z.String()[:5], "gzip"},
		"damaged gzip":               {z.String()[:z.Len()-8] + "xxxxxxxx", "line "},
		"two delimiters":             {"Key,Size\narchive/a;1\n", "line 2"},
		"size with a unit":           {"Key,Size\narchive/notes.txt,20 kB\n", "line 2"},
		"size with commas":           {"Key,Size\nnotes.txt,\"1,234\"\n", "line 2"},
		"negative size":              {"Key,Size\nnotes.txt,-1\n", "line 2"},
		"size of 20 digits":          {"Key,Size\nnotes.txt,99999999999999999999\n", "line 2"},
		"no key column":              {"What,Size\na,1\n", "another archive"},
		"nothing but keys":           {"Key,Owner\na,me\n", "no column holds a size"},
		"empty key":                  {"Key,Size\n,1\n", "line 2"},
		"another archive":            {"Key,Size\nholiday/1.jpg,5\nholiday/2.jpg,6\n", "another archive"},
		"the manifest":               {string(manifestOf(t, "archive", files)), "it is a manifest from the check after copying, not a listing"},
		"CRLF, then LF":              {strings.Repeat("a", 64) + "  x\r\n" + strings.Repeat("a", 64) + "  notes.txt\n", "line 2"},
		"JSON over several lines":    {"{\n  \"key\": \"notes.txt\"\n}\n", "nothing in it has a key and beside it a size"},
		"JSON array":                 {"[{\"key\":\"a\"}]", "nothing in it has a key"},
		"JSON cut":                   {"{\"key\":\"notes.txt\",\"size\":1}\n{\"key\":\"no", "record 2"},
		"JSON without size":          {"{\"key\":\"a\"}\n", "nothing in it has a key"},
		"JSON text in place of size": {"{\"key\":\"a\",\"size\":\"many\"}\n", "record 1"},
		"UTF-16":                     {"\xff\xfeK\x00e\x00y\x00", "it is not a listing that can be read"},
		"a picture":                  {"\x89PNG\r\n\x1a\n\x00\x00", "it is not text"},
		"checksum list, then prose":  {strings.Repeat("a", 64) + "  notes.txt\nand so on\n", "line 2"},
		"quote in a plain field":     {"Key,Size\na\"b,1\n", "line 2"},
		"after a quote":              {"Key,Size\n\"a\"b,1\n", "line 2"},
		"endless line":               {"Key,Size\n" + strings.Repeat("x", 1<<20+1) + ",1\n", "line 2"},
	} {
		rep, err := arrive(t, manifestOf(t, "archive", files), Options{}, tc.listing)
		if rep != nil || !errors.Is(err, ErrListing) || !errors.Is(err, checks.ErrBadJob) || !strings.Contains(err.Error(), tc.want) {
			t.Errorf("%s: %v, want an error with %q", name, err, tc.want)
		}
	}
	if _, err := arrive(t, []byte(good), Options{}, good); !errors.Is(err, manifest.ErrUnusable) {
		t.Errorf("a listing in place of the manifest: %v", err)
	}
	if _, err := arrive(t, manifestOf(t, "", nil), Options{}, good); !errors.Is(err, manifest.ErrUnusable) {
		t.Errorf("a manifest without files: %v", err)
	}
	if _, err := arrive(t, manifestOf(t, "archive", files), Options{}); !errors.Is(err, checks.ErrBadJob) {
		t.Errorf("no listing: %v", err)
	}
	if _, err := arrive(t, manifestOf(t, "archive", files), Options{Columns: listing.Columns{{Role: listing.RoleKey, Column: "nowhere"}}}, good); !errors.Is(err, ErrListing) || !strings.Contains(err.Error(), `"SHA-256"`) && !strings.Contains(err.Error(), "SHA-256") {
		t.Errorf("a column that is not there: %v", err)
	}
	if _, err := arrive(t, manifestOf(t, "archive", files), Options{Prefix: "elsewhere", HasPrefix: true}, good); !errors.Is(err, ErrListing) {
		t.Errorf("a prefix that no key has: %v", err)
	}
}

func TestArrivalWishes(t *testing.T) {
	files := filesOf(arrived...)
	odd := csvOf("Wo,Wieviel,Wasfuer", "archive/", files, sha)
	wish, err := listing.ParseColumns("key=wo, size=Wieviel,sha256=Wasfuer")
	fixture.Must(t, err)
	rep, err := arrive(t, manifestOf(t, "archive", files), Options{Columns: wish}, odd)
	fixture.Must(t, err)
	if n := rep.Result("objects").Fact("compared_sha256").Value; n != int64(len(files)) {
		t.Errorf("compared %v", n)
	}
	rep, err = arrive(t, manifestOf(t, "archive", files), Options{Prefix: "/import/archive/", HasPrefix: true}, csvOf("Key,Size,SHA-256", "import/archive/", files, sha))
	fixture.Must(t, err)
	if got := found(rep); !slices.Equal(got, []string{"objects not-covered "}) {
		t.Errorf("a prefix that was asked for: %q", got)
	}
	for _, bad := range []string{"key", "key=", "colour=red", "=x", ",,"} {
		if w, err := listing.ParseColumns(bad); err == nil {
			t.Errorf("ParseColumns(%q) = %v", bad, w)
		}
	}
}

func TestArrivalStops(t *testing.T) {
	dir := t.TempDir()
	files := filesOf(arrived...)
	m, l := filepath.Join(dir, "m"), filepath.Join(dir, "l")
	fixture.WriteFile(t, m, string(manifestOf(t, "archive", files)))
	fixture.WriteFile(t, l, csvOf("Key,Size,SHA-256", "archive/", files, sha))
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if rep, err := Run(ctx, m, []string{l}, Options{}, nil); !errors.Is(err, context.Canceled) || rep == nil || !rep.Interrupted || rep.Verdict == checks.Passed {
		t.Errorf("stopped: %v, %v", rep, err)
	}
}

func TestListIsValid(t *testing.T) {
	if err := checks.Validate(List()); err != nil {
		t.Error(err)
	}
}
