package fix

import (
	"bytes"
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"

	"loadline/checks/internal/disk"
	"loadline/checks/names"
	"loadline/checks/walk"
)

// makeOrRemove makes a copy or an archive, or removes it again. It is made under a temporary name, read
// back and compared before it gets its own; and it is removed only while the original has every byte of it.
func (e *engine) makeOrRemove(ctx context.Context, m *move, to string) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	temp, final := e.pathNow(m, m.temp), e.pathNow(m, m.to)
	e.reportProgress(final)
	switch {
	case m.place == "":
		return e.notThere(ctx, m, temp, final)
	case m.place == to:
		e.halves += 2 * m.made.Of.Bytes
		if to == atOld && m.at == linking {
			if err := e.restoreLinkAttributes(m, final); err != nil { // a crash came before that
				return err
			}
		}
	case m.place == atTemp && to == atNew, m.place == atOld:
		if err := e.makeCopy(ctx, m, temp, final); err != nil {
			return err
		}
	default:
		if err := e.removeCopy(ctx, m, temp, final); err != nil {
			return err
		}
	}
	if m.place != to {
		return nil
	}
	// What a crash left, or what has just been replaced.
	if err := e.removeTemp(temp); err != nil {
		return err
	}
	// Now, not only at the end: the folder may be in what is copied, packed or compared next.
	e.redate(m.dir)
	e.out.Made++
	return nil
}

// notThere ends a copy in whose place there is nothing, or something of somebody else, which is left alone.
func (e *engine) notThere(ctx context.Context, m *move, temp, final string) error {
	if _, err := e.root.Lstat(final); err == nil {
		e.leaveInPlace(final, changedSince)
	} else {
		e.markGone([]*move{m})
	}
	switch m.at {
	case copying, packing: // a half
		return e.removeTemp(temp)
	case linking: // a copy that stepped aside
		if _, err := e.root.Lstat(temp); err != nil {
			return removed(err)
		}
		why, err := e.compareWithOriginal(ctx, m, temp)
		if err == nil && why == "" {
			return e.removeTemp(temp)
		}
		if err == nil {
			e.leaveInPlace(temp, why)
		}
		return err
	}
	return nil
}

func (e *engine) makeCopy(ctx context.Context, m *move, temp, final string) error {
	begun := packing
	if !m.made.archive() {
		begun = copying
	}
	if err := e.j.mark(m, begun, true); err != nil {
		return err
	}
	if m.place == atOld {
		if err := e.removeTemp(temp); err != nil { // what a crash left
			return err
		}
		e.hook("make")
		if err := e.prepare(ctx, m, temp, final); err != nil {
			// Not to fill the disk. Where that fails, whoever goes on or back does it.
			_ = e.removeTemp(temp)
			return err
		}
	}
	e.hook("rename")
	var err error
	if m.place == atOld && !m.made.archive() {
		err = e.root.Rename(temp, final) // over the link
	} else {
		err = e.putInPlace(m)
	}
	if err != nil {
		return err
	}
	m.place = atNew
	e.hook("renamed")
	return e.j.mark(m, atNew, false)
}

// prepare builds what is to be made, and clears its place for it where it cannot take it by itself.
func (e *engine) prepare(ctx context.Context, m *move, temp, final string) error {
	if err := e.build(ctx, m, temp); err != nil {
		return err
	}
	if err := e.flush(); err != nil {
		return err
	}
	// Is it still what is to be replaced?
	m.place = ""
	err := e.locateMade(ctx, m)
	if is := m.place; err != nil || is != atOld {
		m.place = atOld
		return cmp.Or(err, fmt.Errorf("%w (%s)", ErrChanged, names.Quote(final)))
	}
	if !m.made.archive() && m.made.Folder {
		e.hook("unlink") // a folder never takes the place of a link by itself
		if err := e.root.Remove(final); err != nil {
			return err
		}
		m.place = atTemp
	}
	return nil
}

func (e *engine) removeCopy(ctx context.Context, m *move, temp, final string) error {
	is := final
	if m.place == atTemp {
		is = temp
	}
	why, err := e.compareWithOriginal(ctx, m, is)
	if err != nil {
		return err
	}
	if why == "" {
		e.hook("proven")
		if m.made.archive() {
			err = e.removeArchive(m, final)
		} else {
			why, err = e.restoreLink(ctx, m, temp, final)
		}
		if err != nil {
			return err
		}
	}
	if why != "" {
		if m.place == atTemp {
			if err := e.putInPlace(m); err != nil {
				return err
			}
		}
		e.leaveInPlace(final, why)
		m.place = ""
		return nil
	}
	m.place = atOld
	e.hook("removed")
	return e.j.mark(m, atOld, false)
}

// removeArchive takes an archive away.
func (e *engine) removeArchive(m *move, final string) error {
	if err := e.j.mark(m, removing, true); err != nil {
		return err
	}
	e.hook("remove")
	return removed(e.root.Remove(final))
}

// restoreLink puts a link back into its place. The copy goes to the other name first, where nobody else
// writes; why says what came up in it while it was compared, which can take hours.
func (e *engine) restoreLink(ctx context.Context, m *move, temp, final string) (why string, err error) {
	if err := e.j.mark(m, linking, true); err != nil {
		return "", err
	}
	if m.place == atNew {
		if err := e.removeTemp(temp); err != nil {
			return "", err
		}
		e.hook("aside")
		if err := e.root.Rename(final, temp); err != nil {
			return "", err
		}
		m.place = atTemp
	}
	now, err := inventoryOf(ctx, e.fullPath(temp), false, nil)
	switch {
	case ctx.Err() != nil:
		return "", ctx.Err()
	case err != nil || now != m.made.Of:
		return changedSince, nil
	}
	e.hook("link")
	if err := e.root.Symlink(string(m.made.Target), final); err != nil {
		return "", err
	}
	e.hook("linked")
	if err := e.restoreLinkAttributes(m, final); err != nil {
		return "", err
	}
	// The link must be on the disk before the copy is not.
	return "", e.flush()
}

// restoreLinkAttributes gives a link the date and the owner back that it had.
func (e *engine) restoreLinkAttributes(m *move, final string) error {
	m.made.Owner.give(e.root, final)
	dir, err := e.root.Open(cmp.Or(e.pathNow(m, ""), "."))
	if err != nil {
		return err
	}
	defer dir.Close()
	if err := disk.SetLinkTime(dir, m.to, m.id.modTime()); err != nil {
		e.out.Dates = append(e.out.Dates, final)
	}
	return nil
}

// putInPlace renames what was made to its name, which nothing has.
func (e *engine) putInPlace(m *move) error {
	dir, err := e.root.Open(cmp.Or(e.pathNow(m, ""), "."))
	if err != nil {
		return err
	}
	defer dir.Close()
	kind := walk.File
	if m.made.Folder {
		kind = walk.Folder
	}
	return e.exclusive(dir, e.pathNow(m, ""), m.temp, m.to, kind, func(path string, info fs.FileInfo) bool {
		return e.guardOfMade(m, path, info)
	})
}

// removeTemp removes what was on its way, if it is there: a disk that is mounted read-only refuses to remove
// what is not there too.
func (e *engine) removeTemp(temp string) error {
	if _, err := e.root.Lstat(temp); err != nil {
		return removed(err)
	}
	return e.root.RemoveAll(temp)
}

func (e *engine) leaveInPlace(path, why string) {
	e.out.Stayed = append(e.out.Stayed, Stay{path, why})
}

const changedSince = "it has changed since"

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
		of.add(rel, walk.KindOf(info.Mode()), info.Size(), info.ModTime(), "")
		if walk.KindOf(info.Mode()) != walk.File {
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
