package fix

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"

	"loadline/checks/names"
	"loadline/checks/walk"
)

// compareWithOriginal compares what was made with its original, byte for byte, and says why it must stay; "" if
// nothing would be lost with it.
func (e *engine) compareWithOriginal(ctx context.Context, m *move, path string) (why string, err error) {
	was, err := e.root.Lstat(path)
	if err != nil {
		return "", err
	}
	of, err := e.originalInventory(ctx, m)
	switch {
	case ctx.Err() != nil:
		return "", ctx.Err()
	case err != nil:
		return "its original can no longer be read: " + err.Error(), nil
	case of != m.made.Of:
		return "its original has changed since", nil
	}
	if m.made.archive() {
		err = e.compareArchive(ctx, m, path)
	} else {
		err = e.compareCopy(ctx, m, path)
	}
	switch {
	case ctx.Err() != nil:
		return "", ctx.Err()
	case errors.Is(err, errDiffers):
		return changedSince, nil
	case err != nil:
		return "it could not be compared with its original: " + err.Error(), nil
	}
	// Comparing may have taken hours: is it still what was compared?
	if now, err := e.root.Lstat(path); err != nil || identify(now) != identify(was) {
		return changedSince, nil
	}
	return "", nil
}

func (e *engine) compareArchive(ctx context.Context, m *move, path string) error {
	f, err := openIn(e.root, path)
	if err != nil {
		return err
	}
	defer f.Close()
	c := &comparer{f: f}
	if _, err := pack(ctx, c, e.original(m), m.from, e.counting(m, 2)); err != nil {
		return err
	}
	return c.ended()
}

func (e *engine) compareCopy(ctx context.Context, m *move, path string) error {
	is, err := inventoryOf(ctx, e.fullPath(path), false, nil)
	if err != nil {
		return err
	}
	if is != m.made.Of {
		return errDiffers
	}
	var of inventory // of what is compared, and not of what there was before
	r := reader{ctx: ctx, follow: true}
	err = r.walk(e.original(m), func(rel, from string, info fs.FileInfo) error {
		of.add(rel, kindOf(info.Mode()), info.Size(), info.ModTime(), "")
		if kindOf(info.Mode()) != walk.File {
			return nil
		}
		if rel != "" {
			rel = "/" + rel
		}
		f, err := openIn(e.root, path+rel)
		if err != nil {
			return err
		}
		defer f.Close()
		c := &comparer{f: f}
		if err := r.copyTo(c, from, info, e.counting(m, 2)); err != nil {
			return err
		}
		return c.ended()
	})
	if err == nil && of != m.made.Of {
		err = fmt.Errorf("%w (%s)", ErrChanged, names.Quote(e.original(m)))
	}
	return err
}

// A comparer takes what a file should hold.
type comparer struct {
	f   io.Reader
	buf []byte
}

func (c *comparer) Write(p []byte) (int, error) {
	if len(c.buf) < len(p) {
		c.buf = make([]byte, len(p))
	}
	n, err := io.ReadFull(c.f, c.buf[:len(p)])
	if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) || err == nil && !bytes.Equal(c.buf[:n], p) {
		return 0, errDiffers
	}
	if err != nil {
		return 0, err
	}
	return len(p), nil
}

func (c *comparer) ended() error {
	if n, _ := c.f.Read(make([]byte, 1)); n > 0 {
		return errDiffers
	}
	return nil
}

var errDiffers = errors.New("the content differs")
