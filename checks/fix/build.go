package fix

import (
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

	"loadline/checks/internal/disk"
	"loadline/checks/names"
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
		t.add(rel, kindOf(info.Mode()), info.Size(), info.ModTime(), "")
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
