package arrival

import (
	"bytes"
	"fmt"
	"slices"
	"strings"
	"testing"

	"loadline/checks"
	"loadline/checks/internal/fixture"
	"loadline/checks/manifest"
)

// A list of versions names what is no object any more: only what is there now proves an arrival. The names
// and values of such columns are common practice, no source.
func TestArrivalVersions(t *testing.T) {
	files := filesOf(arrived...)
	m := reseal(bytes.Replace(manifestOf(t, "archive", files), []byte("links=1 others=2"), []byte("links=0 others=0"), 1))
	list := func(columns string, value func(i int) string, more ...string) string {
		i := -1
		return csvOf("Key,Size,SHA-256,"+columns, "archive/", files, func(f *manifest.File) []string {
			i++
			return append(sha(f), strings.Split(value(i), ",")...)
		}) + strings.Join(more, "")
	}
	at := func(n int, here, elsewhere string) func(int) string {
		return func(i int) string {
			if i == n {
				return here
			}
			return elsewhere
		}
	}
	one := files[1]
	row := func(f *manifest.File, rest string) string { return fmt.Sprintf("archive/%s,%s\n", f.Path, rest) }
	object := strings.Join(sha(one), ",")
	lost, twice := []string{"objects missing-object " + string(one.Path)}, []string{"objects listed-twice " + string(one.Path)}
	lines := func(is string) string {
		var b strings.Builder
		for i, f := range files {
			is := is
			if i != 1 {
				is = "true"
			}
			fmt.Fprintf(&b, "{\"key\":%q,\"size\":%d,\"sha256\":\"%x\",\"is_latest\":%s}\n", "archive/"+string(f.Path), f.Size, f.Sums.SHA256, is)
		}
		return b.String()
	}
	for name, tc := range map[string]struct {
		listing string
		want    []string
	}{
		"all are the latest":               {list("IsLatest", at(-1, "", "true")), nil},
		"the store keeps no versions":      {list("IsLatest,IsDeleteMarker", at(-1, "", ",")), nil},
		"one is an old version":            {list("IsLatest", at(1, "false", "true")), lost},
		"one is an old version, in JSON":   {lines("false"), lost},
		"all are the latest, in JSON":      {lines("true"), nil},
		"an old version and the latest":    {list("Is Latest", at(-1, "", "TRUE"), row(one, "5,,FALSE")), nil},
		"an old good one, the latest bad":  {list("IsLatest", at(1, "false", "true"), row(one, "5,,true")), []string{"objects object-size " + string(one.Path)}},
		"one is the mark of a deletion":    {list("IsDeleteMarker", at(1, "true", "false")), lost},
		"deleted after it was listed":      {list("IsDeleteMarker", at(-1, "", "false"), row(one, ",,true")), twice},
		"deleted before it is listed":      {strings.Replace(list("Deleted", at(-1, "", "")), "\n", "\n"+row(one, ",,yes"), 1), twice},
		"a deletion that was taken back":   {list("IsLatest,IsDeleteMarker", at(-1, "", "true,false"), row(one, ",,false,true")), nil},
		"deleted, and the columns say all": {list("IsLatest,IsDeleteMarker", at(1, "false,false", "true,false"), row(one, ",,true,true")), lost},
		"one has a time of deletion":       {list("Time Deleted", at(1, "2031-05-05T00:00:00Z", "")), lost},
		"replaced, with the time":          {list("time_deleted", at(-1, "", ""), row(one, "5,,2031-05-05T00:00:00Z")), nil},
		"replaced by the same, then gone":  {list("time_deleted", at(1, "2031-05-05T00:00:00Z", ""), row(one, object+",2031-05-06T00:00:00Z")), lost},
		"deletion of something else":       {list("IsDeleteMarker", at(-1, "", "false"), "elsewhere/x,,,true\narchive/extra,,,true\n"), nil},
	} {
		t.Run(name, func(t *testing.T) {
			rep, err := arrive(t, m, Options{}, tc.listing)
			fixture.Must(t, err)
			want := checks.Passed
			if tc.want != nil {
				want = checks.Failed
			}
			if got := found(rep); !slices.Equal(got, tc.want) || rep.Verdict != want {
				t.Errorf("verdict %v, found %q; want %v, %q\n%s", rep.Verdict, got, want, tc.want, tc.listing)
			}
			if n := rep.Result("keys").Rules["extra-object"]; n != 0 {
				t.Errorf("%d extra objects", n)
			}
		})
	}
	if _, err := arrive(t, m, Options{}, list("IsLatest", at(-1, "", "false"))); err == nil || !strings.Contains(err.Error(), "old versions only") {
		t.Errorf("nothing but old versions: %v", err)
	}
	if _, err := arrive(t, m, Options{}, list("IsLatest", at(1, "perhaps", "true"))); err == nil || !strings.Contains(err.Error(), "line 3: IsLatest: perhaps is neither true nor false") {
		t.Errorf("a value that says nothing: %v", err)
	}
}

// What is said of objects of which the listing holds a name and nothing else.
func TestArrivalNameOnly(t *testing.T) {
	files := filesOf(arrived...)
	m := reseal(bytes.Replace(manifestOf(t, "archive", files), []byte("links=1 others=2 clutter=3"), []byte("links=0 others=0 clutter=0"), 1))
	i := -1
	rep, err := arrive(t, m, Options{}, csvOf("Key,SHA-256", "archive/", files, func(f *manifest.File) []string {
		if i++; i == 2 {
			return []string{""}
		}
		return sha(f)[1:]
	}))
	fixture.Must(t, err)
	c := rep.Result("objects")
	if rep.Verdict != checks.Warned || len(c.Findings) != 1 || !strings.Contains(c.Findings[0].Detail, "for 1 of 5 files; for them only the name was compared") {
		t.Errorf("%v %+v", rep.Verdict, c.Findings)
	}
	if strings.Contains(c.Summary, "size") {
		t.Errorf("says of sizes that nobody knows: %s", c.Summary)
	}
}
