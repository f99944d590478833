package fix

import (
	"archive/tar"
	"bufio"
	"bytes"
	"cmp"
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"slices"
	"strings"
	"unicode/utf8"

	"loadline/checks/internal/disk"
	"loadline/checks/names"
	"loadline/checks/walk"
)

// build makes a copy or an archive under another name, waits until it has arrived on the disk, and
// reads it back from there.
func (e *engine) build(ctx context.Context, m *move, temp string) error {
	wrote, err := e.write(ctx, m, temp)
	if err != nil {
		return err
	}
	if err := e.flush(); err != nil {
		return err
	}
	e.hook("written")
	if !m.made.archive() {
		// This tells a copy from other things after a crash, and when it is taken back.
		if is, err := inventoryOf(ctx, e.fullPath(temp), false, nil); err != nil {
			return err
		} else if is != m.made.Of {
			return fmt.Errorf("%w: %s", errKept, names.Quote(e.pathNow(m, m.to)))
		}
	}
	back := sha256.New()
	r := reader{ctx: ctx, fresh: true}
	err = r.walk(e.fullPath(temp), func(rel, path string, info fs.FileInfo) error {
		if info.IsDir() {
			return nil
		}
		io.WriteString(back, rel+"\x00")
		return r.copyTo(back, path, info, e.counting(m, 1))
	})
	if here := (*readError)(nil); errors.As(err, &here) {
		return fmt.Errorf("cannot read %s back: %w", names.Quote(e.pathNow(m, m.to)), here.err) // the disk itself
	}
	if err != nil {
		return err
	}
	e.out.Cached = e.out.Cached || r.cached
	if !bytes.Equal(back.Sum(nil), wrote) {
		return fmt.Errorf("%w: %s", errReadBack, names.Quote(e.pathNow(m, m.to)))
	}
	return nil
}

var errReadBack = errors.New("the disk returned different data from what was written, so it must not be trusted")

var errKept = errors.New("the disk does not keep the names or dates of what would be copied")

// write returns a checksum of what it wrote: of each file, its path and its content.
func (e *engine) write(ctx context.Context, m *move, temp string) ([]byte, error) {
	sum := sha256.New()
	var t inventory
	var err error
	if m.made.archive() {
		io.WriteString(sum, "\x00")
		err = e.fill(temp, 0o644, func(w io.Writer) error {
			t, err = pack(ctx, io.MultiWriter(w, sum), e.original(m), m.from, e.counting(m, 1))
			return err
		})
	} else {
		t, err = e.copyAll(ctx, m, temp, sum)
	}
	if err == nil && t != m.made.Of {
		err = fmt.Errorf("%w (%s)", ErrChanged, names.Quote(e.original(m)))
	}
	return sum.Sum(nil), err
}

// fill makes a file. It waits until that has arrived on the disk where one flush of the whole disk, when
// all is written, would not do: a flush for each of 100,000 small files takes minutes (measured).
func (e *engine) fill(path string, perm fs.FileMode, write func(io.Writer) error) error {
	f, err := e.root.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, perm)
	if err != nil {
		return err
	}
	err = write(f)
	if e.each || !e.lasting {
		err = errors.Join(err, disk.Flush(f))
	}
	return errors.Join(err, f.Close())
}

// copyAll copies a file or a whole folder, dates and permissions included.
func (e *engine) copyAll(ctx context.Context, m *move, temp string, sum io.Writer) (t inventory, err error) {
	here, err := e.root.Lstat(cmp.Or(e.pathNow(m, ""), "."))
	if err != nil {
		return t, err
	}
	r := reader{ctx: ctx, follow: true, not: here}
	type folder struct {
		path string
		info fs.FileInfo
	}
	var folders []folder // their dates change with what is put in
	err = r.walk(e.original(m), func(rel, path string, info fs.FileInfo) error {
		t.add(rel, walk.KindOf(info.Mode()), info.Size(), info.ModTime(), "")
		to := temp
		if rel != "" {
			to += "/" + rel
		}
		if info.IsDir() {
			folders = append(folders, folder{to, info})
			return e.root.Mkdir(to, 0o700)
		}
		io.WriteString(sum, rel+"\x00")
		err := e.fill(to, 0o600, func(w io.Writer) error {
			return r.copyTo(io.MultiWriter(w, sum), path, info, e.counting(m, 1))
		})
		if err != nil {
			return err
		}
		return e.copyAttributes(to, info)
	})
	if err != nil {
		return t, err
	}
	for _, f := range slices.Backward(folders) {
		if err := e.copyAttributes(f.path, f.info); err != nil {
			return t, err
		}
	}
	return t, nil
}

// copyAttributes gives a copy the permissions and dates of its original. Its owner can always read it.
func (e *engine) copyAttributes(path string, info fs.FileInfo) error {
	perm := info.Mode().Perm() | 0o400
	if info.IsDir() {
		perm |= 0o700
	}
	// Disks without permissions or owners refuse; what counts is the content.
	ownerOf(info).give(e.root, path)
	if err := e.root.Chmod(path, perm); err != nil && !errors.Is(err, fs.ErrPermission) && !errors.Is(err, errors.ErrUnsupported) {
		return err
	}
	err := e.setDates(path, disk.AccessTime(info), info.ModTime())
	if errors.Is(err, errDate) {
		return nil // a coarser date will do; whether it does is looked at when all is written
	}
	return err
}

// counting counts bytes of content, in halves: one for writing or reading, two for comparing.
func (e *engine) counting(m *move, halves int64) func(int64) {
	path := e.pathNow(m, m.to)
	return func(n int64) {
		e.halves += n * halves
		e.reportProgress(path)
	}
}

// An archive of a card is one file in the pax interchange format (POSIX.1-2017, pax): any name, any
// size and dates to the nanosecond. The same card gives the same bytes.
const (
	archiveEnding = ".tar"
	blockSize     = 512           // of the format
	archiveFoot   = 2 * blockSize // two blocks of zeros end it
)

// header describes one entry. Owners are left out: a card knows none, and on another machine their
// numbers mean somebody else.
func header(top, rel, path string, info fs.FileInfo) (*tar.Header, error) {
	h := &tar.Header{
		Format: tar.FormatPAX, Name: strings.TrimSuffix(names.Join(top, rel), "/"), Mode: int64(info.Mode().Perm()),
		ModTime: info.ModTime(), Typeflag: tar.TypeReg,
	}
	switch walk.KindOf(info.Mode()) {
	case walk.Folder:
		h.Typeflag, h.Name = tar.TypeDir, h.Name+"/"
	case walk.Link:
		target, err := os.Readlink(path)
		if err != nil {
			return nil, &readError{"read the link", path, err}
		}
		h.Typeflag, h.Linkname = tar.TypeSymlink, target
	default:
		h.Size = info.Size()
	}
	if !utf8.ValidString(h.Name) || !utf8.ValidString(h.Linkname) {
		h.PAXRecords = map[string]string{"hdrcharset": "BINARY"} // the names are bytes (POSIX pax)
	}
	return h, nil
}

// archiveSize tells how large the archive of a card will be, without reading what is in its files.
func archiveSize(ctx context.Context, card, top string) (int64, error) {
	var size counter
	r := reader{ctx: ctx}
	err := r.walk(card, func(rel, path string, info fs.FileInfo) error {
		h, err := header(top, rel, path, info)
		if err != nil {
			return err
		}
		if err := tar.NewWriter(&size).WriteHeader(h); err != nil {
			return fmt.Errorf("cannot describe %s in an archive: %w", names.Quote(path), err)
		}
		size += counter((h.Size + blockSize - 1) / blockSize * blockSize)
		return nil
	})
	return int64(size) + archiveFoot, err
}

type counter int64

func (c *counter) Write(p []byte) (int, error) {
	*c += counter(len(p))
	return len(p), nil
}

// pack writes the archive of a card and tells what it put in.
func pack(ctx context.Context, w io.Writer, card, top string, told func(int64)) (t inventory, err error) {
	r := reader{ctx: ctx}
	out := tar.NewWriter(w)
	err = r.walk(card, func(rel, path string, info fs.FileInfo) error {
		h, err := header(top, rel, path, info)
		if err != nil {
			return err
		}
		t.add(rel, walk.KindOf(info.Mode()), info.Size(), info.ModTime(), h.Linkname)
		if err := out.WriteHeader(h); err != nil {
			return err
		}
		if h.Typeflag != tar.TypeReg {
			return nil
		}
		return r.copyTo(out, path, info, told)
	})
	if err != nil {
		return t, err
	}
	return t, out.Close()
}

// errNoArchive: a file is no archive of one folder.
var errNoArchive = errors.New("not an archive of this folder")

// archiveInventory tells what the archive of a folder holds by its headers. Content is passed
// over, and not read where f can seek.
func archiveInventory(ctx context.Context, f io.Reader, top string) (t inventory, err error) {
	in := tar.NewReader(f)
	for {
		if err := ctx.Err(); err != nil {
			return t, err
		}
		h, err := in.Next()
		if errors.Is(err, io.EOF) {
			return t, nil
		}
		if err != nil {
			return t, fmt.Errorf("%w: %w", errNoArchive, err)
		}
		name := strings.TrimPrefix(h.Name, "./")
		rel, inside := strings.CutPrefix(name, top+"/")
		kind := walk.File
		switch h.Typeflag {
		case tar.TypeReg:
		case tar.TypeDir:
			kind, rel = walk.Folder, strings.TrimSuffix(rel, "/")
			if name == top {
				rel, inside = "", true
			}
		case tar.TypeSymlink:
			kind = walk.Link
		default:
			return t, errNoArchive
		}
		if !inside {
			return t, errNoArchive
		}
		t.add(rel, kind, h.Size, h.ModTime, h.Linkname)
	}
}

// seekBuffer reads small pieces from a buffer and passes over content without reading it.
type seekBuffer struct {
	f   io.ReadSeeker
	buf *bufio.Reader
}

func newSeekBuffer(f io.ReadSeeker) *seekBuffer {
	return &seekBuffer{f, bufio.NewReaderSize(f, 4096)}
}

func (s *seekBuffer) Read(p []byte) (int, error) {
	return s.buf.Read(p)
}

func (s *seekBuffer) Seek(offset int64, whence int) (int64, error) {
	if whence == io.SeekCurrent {
		offset -= int64(s.buf.Buffered())
	}
	at, err := s.f.Seek(offset, whence)
	s.buf.Reset(s.f)
	return at, err
}
