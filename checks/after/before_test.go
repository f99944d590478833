//go:build linux

package after

import (
	"bytes"
	"os"
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
	"loadline/checks/walk"
)

// readBefore reads the source as the check before copying does.
func (p *pair) readBefore(t testing.TB) {
	t.Helper()
	places, err := digest.At(t.Context(), p.source, time.Minute)
	fixture.Must(t, err)
	m, err := digest.Recall(p.state, places.ID())
	fixture.Must(t, err)
	var list digest.List
	defer list.Close()
	fixture.Must(t, walk.Walk(t.Context(), p.source, walk.Options{Visit: func(d *walk.Dir) {
		list.Add(d, func(*walk.Entry) (int, bool) { return 0, true })
	}}))
	r := digest.Reading{Root: p.source, Name: "the disk", Lanes: 2, Deadline: time.Minute, Places: places, Memory: m}
	fixture.Must(t, r.Run(t.Context(), list.All(), func(*digest.Result) {}))
	fixture.Must(t, m.Close())
}

// manifestOf reads the manifest of a report.
func manifestOf(t testing.TB, rep *checks.Report) map[string]manifest.File {
	t.Helper()
	text, err := os.ReadFile(rep.Manifest)
	fixture.Must(t, err)
	files := map[string]manifest.File{}
	_, err = manifest.Read(bytes.NewReader(text), func(f *manifest.File) error {
		held := *f
		held.Disk = bytes.Clone(f.Disk)
		files[string(f.Path)] = held
		return nil
	})
	fixture.Must(t, err)
	return files
}

// A source that was read before the copy, and is unchanged, is not read again: the share is, and makes the other
// digests. The manifest holds them all, and says of each file when its source was read; -fresh reads both.
func TestReadBefore(t *testing.T) {
	p := archive(t)
	p.readBefore(t)
	fixture.WriteFile(t, filepath.Join(p.source, "later.txt"), "made after the reading")
	p.copy(t)
	rep := p.must(t)
	c := rep.Result("content")
	later := int64(len("made after the reading"))
	if rep.Verdict != checks.Passed || c.Fact("read_before").Value != rep.Totals.Files-1 || c.Fact("source_bytes_read").Value != later || c.Fact("share_bytes_read").Value != rep.Totals.Bytes {
		t.Errorf("%v %q: %v read before, %v and %v bytes read now", rep.Verdict, found(rep), c.Fact("read_before").Value, c.Fact("source_bytes_read").Value, c.Fact("share_bytes_read").Value)
	}
	files := manifestOf(t, rep)
	for path, f := range files {
		content, err := os.ReadFile(filepath.Join(p.source, path))
		fixture.Must(t, err)
		if f.Sums != sums.Of(sums.MD5|sums.CRCs, content) || f.Read.IsZero() != (path == "later.txt") || f.Disk != nil {
			t.Errorf("%s: %+v", path, f)
		}
	}
	if int64(len(files)) != rep.Totals.Files {
		t.Errorf("%d files in the manifest", len(files))
	}
	rep, err := p.check(t, func(o *Options) { o.Fresh = true }, nil)
	fixture.Must(t, err)
	if c := rep.Result("content"); rep.Verdict != checks.Passed || c.Fact("read_before").Value != int64(0) || c.Fact("source_bytes_read").Value != rep.Totals.Bytes {
		t.Errorf("fresh: %v, %v read before, %v bytes read", rep.Verdict, c.Fact("read_before").Value, c.Fact("source_bytes_read").Value)
	}
	for path, f := range manifestOf(t, rep) {
		if !f.Read.IsZero() || f.Sums.Has != sums.MD5|sums.CRCs {
			t.Errorf("fresh, %s: %+v", path, f)
		}
	}
}

// Where the share differs from what was read before, the source is read again: then it shows that the copy is
// wrong, and nothing is said against the source.
func TestReadBeforeCopyWrong(t *testing.T) {
	p := archive(t)
	p.readBefore(t)
	p.copy(t)
	fixture.Flip(t, filepath.Join(p.share, "archive", "notes.txt"), 3)
	rep := p.must(t)
	c := rep.Result("content")
	if got := found(rep); !slices.Equal(got, []string{"content content-differs notes.txt"}) || c.Fact("source_bytes_read").Value != int64(len("first light\n")) || rep.Manifest != "" {
		t.Errorf("found %q, %v bytes of the source read", got, c.Fact("source_bytes_read").Value)
	}
}

// A file of the source that was changed since it was read, and then copied, is as good as any.
func TestReadBeforeThenChanged(t *testing.T) {
	p := archive(t)
	p.readBefore(t)
	fixture.WriteFile(t, filepath.Join(p.source, "notes.txt"), "FIRST light\n")
	p.copy(t)
	if rep := p.must(t); rep.Verdict != checks.Passed || !manifestOf(t, rep)["notes.txt"].Read.IsZero() {
		t.Errorf("found %q", found(rep))
	}
}

// A share that keeps names in another normal form, as HFS+ does, has every file, under other names: one warning
// each, the content compared, the form of the share in the manifest and that of the disk beside it. UAX #15:
// e9 is the NFC of 65 301, 3129 65 301 sorts differently from 3129 e9.
func TestAnotherForm(t *testing.T) {
	const nfc, nfd = "caf\u00e9", "cafe\u0301"
	p := archive(t)
	for _, f := range []string{nfc + ".mov", nfc + "/" + nfc + ".wav", nfc + "/plain.txt", "both " + nfc, "both " + nfd, "cafez"} {
		fixture.WriteFile(t, filepath.Join(p.source, f), "content of "+f)
	}
	p.copy(t)
	moved := func(from, to string) {
		fixture.Must(t, os.Rename(filepath.Join(p.share, "archive", from), filepath.Join(p.share, "archive", to)))
	}
	moved(nfc+".mov", nfd+".mov")
	moved(nfc+"/"+nfc+".wav", nfc+"/"+nfd+".wav")
	moved(nfc, nfd)
	rep := p.must(t)
	want := []string{
		"on-share another-form " + nfc + ".mov", "on-share another-form " + nfc + "/" + nfc + ".wav",
		"on-share another-form " + nfc + "/plain.txt",
	}
	if got := found(rep); !slices.Equal(got, want) || rep.Verdict != checks.Warned || rep.Manifest == "" {
		t.Fatalf("verdict %v, found %+q", rep.Verdict, got)
	}
	files := manifestOf(t, rep)
	for share, disk := range map[string]string{
		nfd + ".mov": nfc + ".mov", nfd + "/" + nfd + ".wav": nfc + "/" + nfc + ".wav", nfd + "/plain.txt": nfc + "/plain.txt",
		"both " + nfc: "", "both " + nfd: "", "cafez": "",
	} {
		if f, ok := files[share]; !ok || string(f.Disk) != disk {
			t.Errorf("%+q: %v, on the disk %+q", share, ok, f.Disk)
		}
	}
	fixture.Command(t, filepath.Join(p.share, "archive"), "sha256sum", "-c", "--strict", "--warn", rep.Manifest)
	// Its content is compared like that of any other.
	fixture.Flip(t, filepath.Join(p.share, "archive", nfd+".mov"), 3)
	rep = p.must(t)
	if got := found(rep); !slices.Contains(got, "content content-differs "+nfc+".mov") || rep.Manifest != "" {
		t.Errorf("damaged: found %+q", got)
	}
	// One of two names that differ in form only is missing: the other is not taken for it.
	fixture.Must(t, os.Remove(filepath.Join(p.share, "archive", "both "+nfd)))
	rep = p.must(t)
	if got := found(rep); !slices.Contains(got, "on-share missing-on-share both "+nfd) {
		t.Errorf("one of two: found %+q", got)
	}
}

// What a share gives back may come from its memory: a note says so, once.
func TestUnverifiableRead(t *testing.T) {
	p := archive(t)
	p.copy(t)
	rep := p.must(t)
	c := rep.Result("content")
	if c.Rules["unverifiable-read"] != 1 || c.Status != checks.Passed || rep.Verdict != checks.Passed {
		t.Errorf("%v, %v", c.Rules, c.Status)
	}
	for _, f := range c.Findings {
		if f.Rule == unverifiableRead && (f.Path != "" || !strings.Contains(f.Fix(), "off and on")) {
			t.Errorf("%+v, %q", f, f.Fix())
		}
	}
}
