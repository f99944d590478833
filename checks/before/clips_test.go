//go:build linux

package before

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"loadline/checks"
)

// TestClips: the samples of the media package are whole, and the same ones cut are told, with what is no clip
// passed over. What a player makes of whole and cut samples is the oracle of that package's own tests.
func TestClips(t *testing.T) {
	root := realTemp(t)
	samples, err := filepath.Glob("../media/testdata/samples/*/*")
	if err != nil || len(samples) < 10 {
		t.Fatalf("%d samples: %v", len(samples), err)
	}
	clips := int64(0)
	for _, s := range samples {
		content, err := os.ReadFile(s)
		if err != nil {
			t.Fatal(err)
		}
		dir := filepath.Join(root, filepath.Base(filepath.Dir(s)))
		if err := os.MkdirAll(dir, 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(dir, filepath.Base(s)), content, 0o644); err != nil {
			t.Fatal(err)
		}
		clips++
	}
	grow(t, root, "notes.txt 40", "tiny 11", ".DS_Store 40", "link => notes.txt")
	job := checks.Job{Source: root, Now: func() time.Time { return time.Now().AddDate(1, 0, 0) }}
	rep := examine(t, job)
	r := resultOf(t, rep, clipsWhole)
	if r.Status != checks.Passed || fact[int64](t, rep, clipsWhole, "clips") != clips || fact[int64](t, rep, clipsWhole, "not_judged") != 1 {
		t.Errorf("%s: %s, %v %v", r.Status, r.Summary, r.Facts, r.Findings)
	}

	// A clip of a camera that lost power: its index was never written. ISO/IEC 14496-12 §8.2.1: a file
	// without moov and moof describes no presentation.
	mdat := append([]byte("\x00\x00\x00\x14ftypqt  \x00\x00\x00\x00qt  \x00\x00\x04\x08mdat"), make([]byte, 1024)...)
	wav := []byte("RIFF\x24\x10\x00\x00WAVEfmt \x10\x00\x00\x00\x01\x00\x01\x00\x80\xbb\x00\x00\x00\x77\x01\x00\x02\x00\x10\x00data\x00\x10\x00\x00half")
	for name, content := range map[string][]byte{"A001.mov": mdat, "boom.wav": wav} {
		if err := os.WriteFile(filepath.Join(root, name), content, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	rep = examine(t, job)
	compare(t, "the standards", spots(rep, clipNoIndex, clipCutShort), map[spot]bool{{clipNoIndex.ID, "A001.mov"}: true, {clipCutShort.ID, "boom.wav"}: true})
	if r := resultOf(t, rep, clipsWhole); r.Status != checks.Warned || !strings.Contains(r.Findings[0].Fix(), "original card") {
		t.Errorf("%s: %s", r.Status, r.Summary)
	}

	job.NoClips = true
	if r := resultOf(t, examine(t, job), clipsWhole); r.Status != checks.Unknown || !strings.Contains(r.Reason, "-no-clips") {
		t.Errorf("%s: %s", r.Status, r.Reason)
	}
}
