package fix

import (
	"archive/tar"
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"strings"
	"unicode/utf8"

	"loadline/checks/names"
	"loadline/checks/walk"
)

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
	switch kindOf(info.Mode()) {
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
		t.add(rel, kindOf(info.Mode()), info.Size(), info.ModTime(), h.Linkname)
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
