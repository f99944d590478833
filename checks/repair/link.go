package repair

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"

	"loadline/checks/names"
)

// Replace plans to put a copy of the file that a link points to in the place of the link; on says
// whether to, or no longer to. Only links whose Left has OfferReplace can be replaced.
func (p *Plan) Replace(path string, on bool) error {
	if !on {
		delete(p.replace, path)
		return nil
	}
	for i := range p.Left {
		if l := &p.Left[i]; l.Path == path && l.offers(OfferReplace) {
			if s, ok := p.Find(path); ok && p.Steps[s].From == path {
				return errors.New("the link gets a new name in this plan: apply that first, then replace it")
			}
			p.replace[path] = l.Target
			return nil
		}
	}
	return fmt.Errorf("%s is no link to a file that could be copied", names.Quote(path))
}

func (l *Left) offers(o Offer) bool {
	for _, have := range l.Offers {
		if have == o {
			return true
		}
	}
	return false
}

// Skip puts a path, and all below it, on the skip list; on says whether to, or no longer to.
func (p *Plan) Skip(path string, on bool) {
	if on {
		p.skipped[path] = true
	} else {
		delete(p.skipped, path)
	}
}

// preflightLinks notes what the links to be replaced point to.
func (e *engine) preflightLinks(date func(string) error) error {
	for _, m := range e.j.moves {
		if !m.link {
			continue
		}
		path := join(m.dir, m.from)
		info, err := e.root.Lstat(path)
		if err != nil {
			return fmt.Errorf("cannot look at the link %s: %w", names.Quote(path), explain(err))
		}
		if target, err := e.root.Readlink(path); err != nil || target != m.target {
			return fmt.Errorf("%w (the link %s points elsewhere)", ErrChanged, names.Quote(path))
		}
		m.id = identify(info)
		file, err := os.Stat(e.outer(path))
		if err != nil || !file.Mode().IsRegular() {
			return fmt.Errorf("%w (the link %s no longer points to a file)", ErrChanged, names.Quote(path))
		}
		m.copyOf = identify(file)
		if err := date(m.dir); err != nil {
			return err
		}
	}
	return nil
}

// outer returns a path by which a link can be followed out of the source. Only reading goes there.
func (e *engine) outer(path string) string { return filepath.Join(e.root.Name(), path) }

// locateLink finds whether a link or its copy is there.
func (e *engine) locateLink(m *move) {
	path := join(dot(e.current(m.dir)), m.from)
	info, err := e.root.Lstat(path)
	if err != nil {
		return
	}
	switch {
	case info.Mode()&fs.ModeSymlink != 0:
		if target, err := e.root.Readlink(path); err == nil && target == m.target {
			m.place = atOld
		}
	case isCopy(info, m):
		m.place = atNew
	}
}

func isCopy(info fs.FileInfo, m *move) bool {
	return info.Mode().IsRegular() && info.Size() == m.copyOf.Size && info.ModTime().Equal(m.copyOf.modTime())
}

// link puts the copy in the place of a link, or the link back. Both are made under another name
// and take the place in one rename, so that one of the two is there at every moment.
func (e *engine) link(ctx context.Context, m *move, to string) error {
	path := join(m.dir, m.from)
	if err := ctx.Err(); err != nil {
		return err
	}
	if m.place == "" {
		e.gone([]*move{m})
		return nil
	}
	temp := join(m.dir, m.temp)
	if err := e.root.Remove(temp); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	if m.place == to {
		e.out.Done++
		return nil
	}
	if e.o.Progress != nil {
		e.o.Progress(e.out.Done, len(e.j.moves), path)
	}
	way, make := copying, e.copyFile
	if to == atOld {
		way, make = linking, e.makeLink
	}
	if err := e.j.mark(m, way, true); err != nil {
		return err
	}
	e.hook("make")
	if err := make(ctx, m, path, temp); err != nil {
		return errors.Join(err, removed(e.root.Remove(temp)))
	}
	// Is it still what is to be replaced?
	before := m.place
	m.place = ""
	if e.locateLink(m); m.place != before {
		m.place = before
		return errors.Join(fmt.Errorf("%w (%s)", ErrChanged, names.Quote(path)), e.root.Remove(temp))
	}
	e.hook("rename")
	if err := e.root.Rename(temp, path); err != nil {
		return errors.Join(err, e.root.Remove(temp))
	}
	m.place = to
	e.hook("renamed")
	e.out.Done++
	return e.j.mark(m, to, false)
}

func removed(err error) error {
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	return err
}

// copyFile makes the copy and waits until it has arrived on the disk.
func (e *engine) copyFile(ctx context.Context, m *move, path, temp string) error {
	from, err := os.Open(e.outer(path))
	if err != nil {
		return fmt.Errorf("cannot read what the link %s points to: %w", names.Quote(path), err)
	}
	defer from.Close()
	info, err := from.Stat()
	if err != nil || !isCopy(info, m) {
		return fmt.Errorf("%w (what %s points to)", ErrChanged, names.Quote(path))
	}
	to, err := e.root.OpenFile(temp, os.O_WRONLY|os.O_CREATE|os.O_EXCL, info.Mode().Perm())
	if err != nil {
		return err
	}
	n, err := io.Copy(to, &untilDone{ctx, from})
	if err == nil && n != m.copyOf.Size {
		err = fmt.Errorf("%w (what %s points to)", ErrChanged, names.Quote(path))
	}
	if err = errors.Join(err, to.Sync(), to.Close()); err != nil {
		return fmt.Errorf("cannot copy what the link %s points to: %w", names.Quote(path), err)
	}
	return e.root.Chtimes(temp, accessTime(info), m.copyOf.modTime())
}

// makeLink makes the link as it was, its date included where the system can set it.
func (e *engine) makeLink(_ context.Context, m *move, path, temp string) error {
	if err := e.root.Symlink(m.target, temp); err != nil {
		return err
	}
	dir, err := e.root.Open(cmpOr(m.dir, "."))
	if err != nil {
		return err
	}
	defer dir.Close()
	if err := linkTimes(dir, m.temp, m.id.modTime()); err != nil {
		e.out.Dates = append(e.out.Dates, path)
	}
	return nil
}

// untilDone reads until a context ends.
type untilDone struct {
	ctx context.Context
	r   io.Reader
}

func (u *untilDone) Read(p []byte) (int, error) {
	if err := u.ctx.Err(); err != nil {
		return 0, err
	}
	return u.r.Read(p)
}
