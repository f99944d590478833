package after

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"golang.org/x/sys/unix"

	"loadline/checks"
	"loadline/checks/before"
	"loadline/checks/internal/fixture"
	"loadline/checks/share"
)

// What a Mac will write beside its files is foretold before copying. After copying it is known, with the same number
// and size, and nothing is extra. What only looks like it stays extra.
func TestDoublesAsForetold(t *testing.T) {
	p := archive(t)
	const decomposed, composed = "mare\u0301e", "mar\u00e9e"
	fixture.WriteFile(t, filepath.Join(p.source, decomposed, "clip.mov"), "frames")
	for _, name := range []string{"notes.txt", "day1/cam/A001.mov", "day2", decomposed + "/clip.mov"} {
		fixture.Must(t, unix.Setxattr(filepath.Join(p.source, name), "user.note", []byte("first wheel"), 0))
	}
	job := p.job()
	job.StandIn.Platform, job.StandIn.Version = share.MacOS, "3"
	told, err := checks.Run(t.Context(), job, before.List(), nil)
	fixture.Must(t, err)
	foretold := findingsOf(told, "metadata", "apple-double-to-come")
	if len(foretold) != 1 || foretold[0].Detail != "4 files, 16 kB" {
		t.Fatalf("foretold: %v", foretold)
	}

	p.copy(t)
	c := filepath.Join(p.share, "archive")
	fixture.Must(t, os.Rename(filepath.Join(c, decomposed), filepath.Join(c, composed)))
	double := "\x00\x05\x16\x07\x00\x02\x00\x00" // RFC 1740: magic number and version
	double += strings.Repeat("\x00", 4096-len(double))
	for _, name := range []string{"._notes.txt", "day1/cam/._A001.mov", "._day2", composed + "/._clip.mov"} {
		fixture.WriteFile(t, filepath.Join(c, name), double)
	}
	rep, err := Run(t.Context(), job, Options{State: p.state}, nil)
	fixture.Must(t, err)
	if rep.Verdict != checks.Warned || rep.Manifest == "" { // one name has another form
		t.Fatalf("verdict %v, found %q", rep.Verdict, found(rep))
	}
	left := rep.Result("leftovers")
	if got := findingsOf(rep, "leftovers", "apple-double-on-share"); len(got) != 1 || got[0].Detail != foretold[0].Detail || left.Fact("attribute_files").Value != int64(4) {
		t.Errorf("on the share %v, foretold %v", got, foretold)
	}
	if left.Rules["extra-on-share"] != 0 || left.Fact("extra_files").Value != nil {
		t.Errorf("extra: %v", left.Rules)
	}

	// One beside nothing, one that only has the name, and one beside a file that is itself extra.
	fixture.WriteFile(t, filepath.Join(c, "._gone.mov"), double)
	fixture.WriteFile(t, filepath.Join(c, "._other.txt"), "not attributes")
	fixture.WriteFile(t, filepath.Join(c, "new.mov"), "new")
	fixture.WriteFile(t, filepath.Join(c, "._new.mov"), double)
	fixture.WriteFile(t, filepath.Join(c, "._."), double) // of the root of a file system, which this folder is not
	rep, err = Run(t.Context(), job, Options{State: p.state}, nil)
	fixture.Must(t, err)
	var extra []string
	for _, f := range findingsOf(rep, "leftovers", "extra-on-share") {
		extra = append(extra, f.Path)
	}
	if want := []string{"._.", "._gone.mov", "._new.mov", "._other.txt", "new.mov"}; !slices.Equal(extra, want) {
		t.Errorf("extra %q, want %q", extra, want)
	}
	if got := findingsOf(rep, "leftovers", "apple-double-on-share"); len(got) != 1 || got[0].Detail != foretold[0].Detail {
		t.Errorf("on the share %v, foretold %v", got, foretold)
	}
}

// At the top of a share, "._." holds the attributes of the share's own folder.
func TestDoubleOfTheShare(t *testing.T) {
	p := archive(t)
	p.prefix = ""
	fixture.Command(t, p.source, "cp", "-R", ".", p.share)
	fixture.WriteFile(t, filepath.Join(p.share, "._."), "\x00\x05\x16\x07\x00\x02\x00\x00")
	rep := p.must(t)
	if left := rep.Result("leftovers").Rules; left["apple-double-on-share"] != 1 || left["extra-on-share"] != 0 {
		t.Errorf("rules %v", left)
	}
}

// findingsOf returns what one rule of a check found.
func findingsOf(rep *checks.Report, check, rule string) (found []checks.Finding) {
	for _, f := range rep.Result(check).Findings {
		if f.Rule.ID == rule {
			found = append(found, f)
		}
	}
	return found
}
