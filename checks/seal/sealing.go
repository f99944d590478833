package seal

import (
	"bytes"
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"iter"
	"os"
	"path/filepath"

	"loadline/checks"
	"loadline/checks/names"
	"loadline/checks/share"
)

// seal writes the manifest, if everything is proven: on this machine, and beside the folder of the
// copy, so that it travels with it. Beside means in the folder that holds the folder of the copy, or
// in the share itself where the copy has no folder of its own. Like everything on the share it will
// be an object; the check after arrival knows it by its name.
func (c *comparing) seal(ctx context.Context) error {
	t := c.pass
	h, ok := c.header()
	if !ok {
		t.Fact("manifest", "", "No manifest was written, since not every file is proven")
		return nil
	}
	fill := func(w io.Writer) error { return WriteManifest(w, h, c.proofs()) }
	name := manifestName(h.Made)
	c.meter.phase("Writing the manifest")
	defer c.meter.phase("")
	// Both places are of this machine, as a rule; whoever chose a share that falls silent must not wait.
	kept, err := share.Guard(ctx, flushPatience, func() (string, error) { return c.keep(name, fill) })
	if ctx.Err() != nil {
		return ctx.Err()
	}
	if err != nil {
		t.FlagJob(manifestNotWritten, "on this machine: %v", err)
	} else if c.manifest = kept; kept != "" {
		t.Fact("manifest", c.manifest, "Manifest on this machine: %s", names.Quote(c.manifest))
	}
	if c.o.Bag != "" {
		_, err := share.Guard(ctx, flushPatience, func() (struct{}, error) { return struct{}{}, WriteBag(c.o.Bag, h, c.proofs()) })
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
		t.Fact("manifest_on_share", "", "Nothing was written on the share, as you asked: keep the manifest of this machine safe")
		return nil
	}
	place, err := patiently(ctx, c, func() (string, error) {
		place, err := writeNumbered(filepath.Join(c.beside(t.Job), name), fill)
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
		t.FlagJob(manifestNotWritten, "on the share: %v", plain(err))
	}
	return nil
}

// header returns the head of the manifest; false where not everything is proven.
func (c *comparing) header() (*Header, bool) {
	a, job := c.after, c.pass.Job
	if a.flawed.Load() || a.travelling() == 0 || c.proven.Load() != a.travelling() {
		return nil, false
	}
	h := &Header{
		Made: job.Now(), Source: job.Source, Prefix: job.Prefix,
		Links: a.tree.links, Others: a.tree.others, Clutter: a.leftOut, LeftOff: a.unlisted,
	}
	for f := range c.proofs() {
		h.Files++
		h.Bytes += f.Size
	}
	return h, true
}

// proofs are the proven files in the order of a manifest.
func (c *comparing) proofs() iter.Seq[*File] {
	if c.byName == nil {
		c.byName = c.tree.byName()
	}
	return func(yield func(*File) bool) {
		var f File
		for _, i := range c.byName {
			e := c.tree.files.at(int(i))
			if e.flags&leftOut != 0 {
				continue
			}
			f = File{Path: []byte(c.tree.path(int(i))), Size: e.size, Sums: e.sums}
			if !yield(&f) {
				return
			}
		}
	}
}

// keep writes the manifest on this machine and returns where.
func (c *comparing) keep(name string, fill func(io.Writer) error) (string, error) {
	switch {
	case c.o.Manifest != "":
		return c.o.Manifest, writeNew(c.o.Manifest, fill)
	case c.stateInSource:
		return "", errStateInSource
	case c.o.State != "":
		dir := filepath.Join(c.o.State, "manifests")
		if err := os.MkdirAll(dir, 0o700); err != nil {
			return "", err
		}
		sweep(dir)
		return writeNumbered(filepath.Join(dir, name), fill)
	}
	return "", nil
}

// readBack compares a file on the share with what it should hold, past this machine's cache.
func (c *comparing) readBack(path string, fill func(io.Writer) error) error {
	want := sha256.New()
	if err := fill(want); err != nil {
		return err
	}
	got, err := sumFile(path)
	if err != nil {
		return err
	}
	if !bytes.Equal(want.Sum(nil), got.SHA256[:]) {
		return errors.New("the share gives it back with other bytes")
	}
	return nil
}

// sumFile reads a file past the cache. It may hang where the file is on a share.
func sumFile(path string) (Sums, error) {
	f, way, err := openPast(path)
	if err != nil {
		return Sums{}, err
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return Sums{}, err
	}
	s, memory := newSummer(false), alignedBlock()
	for at := int64(0); at < info.Size(); {
		from := at &^ (blockAlign - 1)
		n, err := readBlock(f, memory[:wanted(info.Size()-from, len(memory))], from, &way)
		if err != nil {
			return Sums{}, err
		}
		skip := int(at - from)
		if n <= skip {
			return Sums{}, fmt.Errorf("%w: %d of %d bytes", io.ErrUnexpectedEOF, at, info.Size())
		}
		s.write(memory[skip:n])
		at += int64(n - skip)
	}
	return s.take(), nil
}

// WriteBag writes the tag files of a bag (RFC 8493) into a new folder: bagit.txt, bag-info.txt, the
// manifests, and the tag manifest. The payload is the copy: move or link it into the folder as "data"
// to make the bag whole.
func WriteBag(dir string, h *Header, files iter.Seq[*File]) error {
	if err := os.Mkdir(dir, 0o755); err != nil {
		return err
	}
	withMD5 := true
	for f := range files {
		withMD5 = withMD5 && f.Sums.HasMD5
	}
	payload := func(digest func(*Sums) []byte) func(io.Writer) error {
		return func(w io.Writer) error {
			var line []byte
			for f := range files {
				line = appendHex(line[:0], digest(&f.Sums))
				line = append(line, "  data/"...)
				line = append(appendBagPath(line, f.Path), '\n')
				if _, err := w.Write(line); err != nil {
					return err
				}
			}
			return nil
		}
	}
	type tag struct {
		name string
		fill func(io.Writer) error
	}
	tags := []tag{
		{"bag-info.txt", func(w io.Writer) error {
			_, err := fmt.Fprintf(w, "Bagging-Date: %s\nBag-Size: %s\nPayload-Oxum: %d.%d\n", h.Made.Format("2006-01-02"), checks.Bytes(h.Bytes), h.Bytes, h.Files)
			return err
		}},
		{"bagit.txt", func(w io.Writer) error {
			_, err := io.WriteString(w, "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n")
			return err
		}},
		{"manifest-sha256.txt", payload(func(s *Sums) []byte { return s.SHA256[:] })},
	}
	if withMD5 {
		tags = append(tags, tag{"manifest-md5.txt", payload(func(s *Sums) []byte { return s.MD5[:] })})
	}
	var list []byte
	for _, t := range tags {
		sum := sha256.New()
		if err := writeNew(filepath.Join(dir, t.name), func(w io.Writer) error { return t.fill(io.MultiWriter(w, sum)) }); err != nil {
			return err
		}
		list = append(appendHex(list, sum.Sum(nil)), "  "+t.name+"\n"...)
	}
	return writeNew(filepath.Join(dir, "tagmanifest-sha256.txt"), func(w io.Writer) error {
		_, err := w.Write(list)
		return err
	})
}
