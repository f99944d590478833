package after

import (
	"bytes"
	"context"
	"crypto/sha256"
	"errors"
	"io"
	"iter"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"loadline/checks"
	"loadline/checks/digest"
	"loadline/checks/internal/disk"
	"loadline/checks/manifest"
	"loadline/checks/names"
	"loadline/checks/share"
)

// seal writes the manifest, if everything is proven: on this computer, and beside the folder of the
// copy, so that it travels with it. Beside means in the folder that holds the folder of the copy, or
// in the share itself where the copy has no folder of its own. Like everything on the share it will
// be an object; the check after arrival knows it by its name.
func (c *comparing) seal(ctx context.Context) error {
	t := c.pass
	h, ok := c.header()
	switch {
	case ok:
	case c.proven.Load() == c.travelling() && c.travelling() > 0:
		t.Fact("manifest", "", "No manifest was written, since another check failed or could not judge")
		return nil
	default:
		t.Fact("manifest", "", "No manifest was written, since not every file is proven")
		return nil
	}
	fill := func(w io.Writer) error { return manifest.Write(w, h, c.proofs()) }
	name := manifest.Name(h.Made)
	t.Phase(checks.Phase{Text: "Writing the manifest"})
	// Both places are of this computer, as a rule; whoever chose a share that falls silent must not wait.
	kept, err := share.Guard(ctx, flushPatience, func() (string, error) { return c.keep(name, fill) })
	if ctx.Err() != nil {
		return ctx.Err()
	}
	if err != nil {
		t.FlagJob(manifestNotWritten, "on this computer: %v", err)
	} else if c.manifest = kept; kept != "" {
		t.Fact("manifest", c.manifest, "Manifest on this computer: %s", names.Quote(c.manifest))
	}
	if c.o.Bag != "" {
		err := share.Call(ctx, flushPatience, func() error { return manifest.WriteBag(c.o.Bag, h, c.proofs()) })
		if ctx.Err() != nil {
			return ctx.Err()
		}
		if err != nil {
			t.FlagJob(manifestNotWritten, "as a bag: %v", err)
		} else {
			t.Fact("bag", c.o.Bag, "Tag files of a bag (RFC 8493): %s; the copy is its data folder", names.Quote(c.o.Bag))
		}
	}
	if t.Job.NoTrial {
		t.Fact("manifest_on_share", "", "Nothing was written on the share, as you asked: keep the manifest on this computer safe")
		return nil
	}
	place, err := patiently(ctx, c, func() (string, error) {
		place, err := disk.WriteNumbered(filepath.Join(c.beside(t.Job), name), fill)
		if err == nil {
			err = c.readBack(place, fill)
		}
		return place, err
	})
	switch {
	case err == nil:
		t.Fact("manifest_on_share", place, "Manifest on the share, read back: %s", names.Quote(place))
	case ctx.Err() != nil:
		return ctx.Err()
	default:
		t.FlagJob(manifestNotWritten, "on the share: %s", checks.Reason(err))
	}
	return nil
}

// header returns the head of the manifest; false where not everything is proven.
func (c *comparing) header() (*manifest.Header, bool) {
	a, job := c.after, c.pass.Job
	if !c.sound() || a.travelling() == 0 || c.proven.Load() != a.travelling() {
		return nil, false
	}
	h := &manifest.Header{
		Made: job.Now(), Source: job.Source, Prefix: job.Prefix,
		Links: a.tree.links, Others: a.tree.others, Clutter: a.leftOut, LeftOff: a.unlisted,
	}
	for f := range c.proofs() {
		h.Files++
		h.Bytes += f.Size
	}
	return h, true
}

// sound reports whether nothing that was found before speaks against a manifest. Where the share is not mounted,
// or is the source's own disk, a copy may be whole, but it does not travel.
func (c *comparing) sound() bool {
	for _, r := range c.pass.Ended() {
		if r.Status == checks.Failed || r.Status == checks.Unknown {
			return false
		}
	}
	worst, found := c.pass.Worst()
	return !found || worst < checks.Fail
}

// proofs are the proven files in the order of a manifest.
func (c *comparing) proofs() iter.Seq[*manifest.File] {
	if c.byName == nil {
		c.byName = c.tree.byName()
		if len(c.forms) > 0 {
			slices.SortStableFunc(c.byName, func(x, y int32) int { return strings.Compare(c.onShareAs(int(x)), c.onShareAs(int(y))) })
		}
	}
	return func(yield func(*manifest.File) bool) {
		var f manifest.File
		for _, i := range c.byName {
			e := c.tree.files.At(int(i))
			if e.flags&leftOut != 0 {
				continue
			}
			f = manifest.File{Path: []byte(c.onShareAs(int(i))), Size: e.size, Sums: e.sums}
			if e.flags&readBefore != 0 {
				f.Read = time.Unix(e.before, 0)
			}
			if e.flags&otherForm != 0 {
				f.Disk = []byte(c.tree.path(int(i)))
			}
			if !yield(&f) {
				return
			}
		}
	}
}

// onShareAs returns the path that a file has in the folder of the copy.
func (a *after) onShareAs(i int) string {
	if p, ok := a.forms[i]; ok {
		return p
	}
	return a.tree.path(i)
}

// keep writes the manifest on this computer and returns where.
func (c *comparing) keep(name string, fill func(io.Writer) error) (string, error) {
	switch {
	case c.o.Manifest != "":
		return c.o.Manifest, disk.WriteNew(c.o.Manifest, fill)
	case c.noState != nil:
		return "", c.noState
	case c.o.State != "":
		dir := filepath.Join(c.o.State, "manifests")
		if err := os.MkdirAll(dir, 0o700); err != nil {
			return "", err
		}
		manifest.Sweep(dir)
		return disk.WriteNumbered(filepath.Join(dir, name), fill)
	}
	return "", nil
}

// readBack compares a file on the share with what it should hold, past this computer's cache.
func (c *comparing) readBack(path string, fill func(io.Writer) error) error {
	want := sha256.New()
	if err := fill(want); err != nil {
		return err
	}
	got, err := digest.One(path)
	if err != nil {
		return err
	}
	if !bytes.Equal(want.Sum(nil), got.SHA256[:]) {
		return errors.New("the share gives it back with other bytes")
	}
	return nil
}
