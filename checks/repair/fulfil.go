package repair

import (
	"context"
	"errors"
	"fmt"
	"io/fs"

	"loadline/checks/names"
	"loadline/checks/walk"
)

// A Stay is a copy or an archive that undo leaves, because to remove it might lose something.
type Stay struct {
	Path string
	Why  string
}

func (e *engine) stay(m *move, why string) {
	e.out.Stayed = append(e.out.Stayed, Stay{e.here(m, m.to), why})
}

// fulfil makes what is to be made, or takes it away again. It is made under another name, read back
// and compared before it takes its place; and taken away only while the original holds every byte.
func (e *engine) fulfil(ctx context.Context, m *move, to string) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	temp, seat := e.here(m, m.temp), e.here(m, m.to)
	e.tell(seat)
	switch {
	case m.place == "":
		if _, err := e.root.Lstat(seat); err == nil {
			e.stay(m, "it has changed since")
		} else {
			e.gone([]*move{m})
		}
		if m.at == copying || m.at == packing {
			return e.root.RemoveAll(temp) // something else has taken the place meanwhile
		}
	case m.place == to:
		e.halves += 2 * m.made.Of.Bytes
	case m.place == atTemp && to == atNew, m.place == atOld:
		if err := e.make(ctx, m, temp, seat); err != nil {
			return err
		}
	default:
		if err := e.unmake(ctx, m, temp, seat); err != nil {
			return err
		}
	}
	if m.place != to {
		return nil
	}
	// What a crash left, or what has just been replaced.
	if err := e.root.RemoveAll(temp); err != nil {
		return err
	}
	e.out.Made++
	return nil
}

func (e *engine) make(ctx context.Context, m *move, temp, seat string) error {
	begun := packing
	if !m.made.archive() {
		begun = copying
	}
	if err := e.j.mark(m, begun, true); err != nil {
		return err
	}
	if m.place == atOld {
		if err := e.root.RemoveAll(temp); err != nil { // what a crash left
			return err
		}
		e.hook("make")
		if err := e.build(ctx, m, temp); err != nil {
			return errors.Join(err, e.root.RemoveAll(temp))
		}
		if err := flush(e.dir); err != nil {
			return errors.Join(err, e.root.RemoveAll(temp))
		}
		// Is it still what is to be replaced?
		m.place = ""
		if err := e.locateMade(ctx, m); err != nil || m.place != atOld {
			m.place = atOld
			return errors.Join(err, fmt.Errorf("%w (%s)", ErrChanged, names.Quote(seat)), e.root.RemoveAll(temp))
		}
		if !m.made.archive() && m.made.Folder {
			e.hook("unlink") // a folder never takes the place of a link by itself
			if err := e.root.Remove(seat); err != nil {
				return errors.Join(err, e.root.RemoveAll(temp))
			}
			m.place = atTemp
		}
	}
	e.hook("rename")
	var err error
	if m.place == atOld && !m.made.archive() {
		err = e.root.Rename(temp, seat) // over the link
	} else {
		err = e.settle(m)
	}
	if err != nil {
		return err
	}
	m.place = atNew
	e.hook("renamed")
	return e.j.mark(m, atNew, false)
}

func (e *engine) unmake(ctx context.Context, m *move, temp, seat string) error {
	is := seat
	if m.place == atTemp {
		is = temp
	}
	if why, err := e.prove(ctx, m, is); err != nil {
		return err
	} else if why != "" {
		if m.place == atTemp {
			if err := e.settle(m); err != nil {
				return err
			}
		}
		e.stay(m, why)
		m.place = ""
		return nil
	}
	if m.made.archive() {
		if err := e.j.mark(m, removing, true); err != nil {
			return err
		}
		e.hook("remove")
		if err := removed(e.root.Remove(seat)); err != nil {
			return err
		}
	} else if err := e.relink(m, temp, seat); err != nil {
		return err
	}
	m.place = atOld
	e.hook("removed")
	return e.j.mark(m, atOld, false)
}

// relink puts a link back into its place. The copy goes to the other name first.
func (e *engine) relink(m *move, temp, seat string) error {
	if err := e.j.mark(m, linking, true); err != nil {
		return err
	}
	if m.place == atNew {
		if err := e.root.RemoveAll(temp); err != nil {
			return err
		}
		e.hook("aside")
		if err := e.root.Rename(seat, temp); err != nil {
			return err
		}
		m.place = atTemp
	}
	e.hook("link")
	if err := e.root.Symlink(string(m.made.Target), seat); err != nil {
		return err
	}
	dir, err := e.root.Open(cmpOr(e.here(m, ""), "."))
	if err != nil {
		return err
	}
	defer dir.Close()
	if err := linkTimes(dir, m.to, m.id.modTime()); err != nil {
		e.out.Dates = append(e.out.Dates, seat)
	}
	return nil
}

// settle renames what was made to its name, which nothing has.
func (e *engine) settle(m *move) error {
	dir, err := e.root.Open(cmpOr(e.here(m, ""), "."))
	if err != nil {
		return err
	}
	defer dir.Close()
	kind := walk.File
	if m.made.Folder {
		kind = walk.Folder
	}
	return e.exclusive(dir, e.here(m, ""), m.temp, m.to, kind, func(path string, info fs.FileInfo) bool {
		return e.guardOfMade(m, path, info)
	})
}

func removed(err error) error {
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	return err
}
