package arrival

import (
	"bytes"
	"slices"
	"testing"
	"time"

	"loadline/checks"
	"loadline/checks/internal/fixture"
	"loadline/checks/internal/sums"
	"loadline/checks/manifest"
)

// filesOf is an invented archive as a manifest holds it: path to content.
func filesOf(paths ...string) []*manifest.File {
	slices.Sort(paths)
	files := make([]*manifest.File, len(paths))
	for i, p := range paths {
		content := "content of " + p
		files[i] = &manifest.File{Path: []byte(p), Size: int64(len(content)), Sums: sums.Of(sums.MD5|sums.CRCs, []byte(content))}
	}
	return files
}

func manifestOf(t testing.TB, prefix string, files []*manifest.File) []byte {
	t.Helper()
	h := &manifest.Header{Made: time.Date(2031, 5, 4, 3, 2, 1, 0, time.UTC), Source: "/media/\"disk\n", Prefix: prefix, Files: int64(len(files)), Links: 1, Others: 2, Clutter: 3}
	for _, f := range files {
		h.Bytes += f.Size
	}
	var b bytes.Buffer
	fixture.Must(t, manifest.Write(&b, h, slices.Values(files)))
	return b.Bytes()
}

// found lists what a report found, notes apart, as "check rule path".
func found(rep *checks.Report) []string {
	var list []string
	for c, f := range rep.Findings() {
		if f.Level != checks.Note {
			list = append(list, c.ID+" "+f.Rule.ID+" "+f.Path)
		}
	}
	return list
}
