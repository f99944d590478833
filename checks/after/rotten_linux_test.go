package after

import (
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"

	"loadline/checks"
	"loadline/checks/internal/fixture"
)

// A file that rots on its disk, its number, size and dates unchanged (ext4 keeps no checksum of content): a byte
// of its block is changed in the image. Copied after it rotted, source and share agree, but not with what was
// read before. Rotten after the copy, only a fresh reading tells, and that the share holds what the disk held.
func TestSourceRotted(t *testing.T) {
	if !fixture.Room(t) {
		return
	}
	for name, tc := range map[string]struct {
		copyFirst, fresh bool
		holds            string
	}{
		"before the copy":       {false, false, "the share holds what the disk holds now"},
		"before the copy, both": {false, true, ""},
		"after the copy":        {true, true, ""},
	} {
		t.Run(name, func(t *testing.T) {
			p := archive(t)
			img := fixture.Image(t, 64<<20, "mkfs.ext4", "-q")
			files := p.source
			p.source = filepath.Join(filepath.Dir(files), "disk", "archive")
			unmount := fixture.Mount(t, filepath.Dir(p.source), "-o", "loop", img)
			fixture.Command(t, files, "cp", "-R", ".", p.source)
			content := fixture.Noise(9, 300_000)
			fixture.WriteFile(t, filepath.Join(p.source, "take.mov"), string(content))
			p.readBefore(t)
			if tc.copyFirst {
				p.copy(t)
			}
			unmount()
			fixture.Flip(t, img, fixture.FindIn(t, img, content[200_000:200_300])+7)
			unmount = fixture.Mount(t, filepath.Dir(p.source), "-o", "loop", img)
			if !tc.copyFirst {
				p.copy(t)
			}
			rep, err := p.check(t, func(o *Options) { o.Fresh = tc.fresh }, nil)
			fixture.Must(t, err)
			c := rep.Result("content")
			if got := found(rep); !slices.Equal(got, []string{"content source-rotted take.mov"}) || rep.Manifest != "" || rep.Verdict != checks.Failed {
				t.Errorf("found %q", got)
			} else if detail := c.Findings[slices.IndexFunc(c.Findings, func(f checks.Finding) bool { return f.Rule == sourceRotted })].Detail; !strings.Contains(detail, "size and dates are the same") || !strings.HasSuffix(detail, tc.holds) {
				t.Errorf("says %q", detail)
			}
			// Nor does it when checked again: what it held is not forgotten, and a copy that holds it must not be overwritten.
			for _, fresh := range []bool{false, true, false} {
				rep, err := p.check(t, func(o *Options) { o.Fresh = fresh }, nil)
				fixture.Must(t, err)
				c := rep.Result("content")
				holds := map[bool]string{true: "the share holds what the disk held then", false: "the share holds what the disk holds now"}[tc.copyFirst]
				if got := found(rep); !slices.Equal(got, []string{"content source-rotted take.mov"}) || rep.Manifest != "" {
					t.Errorf("again, fresh %v: found %q", fresh, got)
				} else if detail := c.Findings[slices.IndexFunc(c.Findings, func(f checks.Finding) bool { return f.Rule == sourceRotted })].Detail; !strings.HasSuffix(detail, holds) {
					t.Errorf("again, fresh %v: says %q", fresh, detail)
				}
			}
			unmount()
		})
	}
}

// The folders of clutter that a Mac keeps from everybody, in the root of a disk (measured), forbid no manifest.
// It shows only to a user who is not root.
func TestClosedClutter(t *testing.T) {
	if os.Getenv("LOADLINE_TEST_USER") == "" {
		p := archive(t)
		p.copy(t)
		for _, dir := range []string{".Spotlight-V100", ".Trashes", ".DocumentRevisions-V100", ".fseventsd", ".TemporaryItems"} {
			fixture.WriteFile(t, filepath.Join(p.source, dir, "index"), "closed")
			fixture.Must(t, os.Chmod(filepath.Join(p.source, dir), 0))
		}
		base := filepath.Dir(p.source)
		fixture.Command(t, base, "chown", "-R", "65534:65534", base)
		for _, dir := range []string{".Spotlight-V100", ".Trashes", ".DocumentRevisions-V100", ".fseventsd", ".TemporaryItems"} {
			fixture.Must(t, os.Chown(filepath.Join(p.source, dir), 0, 0))
		}
		exe := filepath.Join(base, "after.test")
		text, err := os.ReadFile("/proc/self/exe")
		fixture.Must(t, err)
		fixture.Must(t, os.WriteFile(exe, text, 0o755))
		cmd := exec.CommandContext(t.Context(), exe, "-test.run=^TestClosedClutter$", "-test.v")
		cmd.Dir = base
		cmd.Env = append(os.Environ(), "LOADLINE_TEST_USER="+base, "TMPDIR="+base, "HOME="+base, "GORACE=atexit_sleep_ms=0")
		cmd.SysProcAttr = &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: 65534, Gid: 65534}}
		if out, err := cmd.CombinedOutput(); err != nil || !strings.Contains(string(out), "--- PASS: TestClosedClutter") {
			t.Fatalf("as another user: %v\n%s", err, out)
		}
		return
	}
	base := os.Getenv("LOADLINE_TEST_USER")
	p := &pair{filepath.Join(base, "archive"), filepath.Join(base, "share"), filepath.Join(base, "state"), "archive"}
	rep := p.must(t)
	if rep.Verdict != checks.Passed || rep.Manifest == "" || rep.Result("on-share").Rules["unreadable-source"] != 5 {
		t.Errorf("verdict %v, manifest %q, %q", rep.Verdict, rep.Manifest, found(rep))
	}
	fixture.Must(t, os.Chmod(filepath.Join(p.source, "day1"), 0))
	if rep := p.must(t); rep.Verdict != checks.Failed || rep.Manifest != "" {
		t.Errorf("a folder that is no clutter: %v, manifest %q", rep.Verdict, rep.Manifest)
	}
}
