package fix

import (
	"cmp"
	"context"
	"fmt"
	"io/fs"

	"loadline/checks/internal/disk"
	"loadline/checks/names"
	"loadline/checks/walk"
)

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
		return e.strange(ctx, m, temp, seat)
	case m.place == to:
		e.halves += 2 * m.made.Of.Bytes
		if to == atOld && m.at == linking {
			if err := e.dressLink(m, seat); err != nil { // a crash came before that
				return err
			}
		}
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
	if err := e.clear(temp); err != nil {
		return err
	}
	// Now, not only at the end: the folder may be in what is copied, packed or compared next.
	e.redate(m.dir)
	e.out.Made++
	return nil
}

// strange ends a making in whose place there is nothing, or something of somebody else, which is left
// alone.
func (e *engine) strange(ctx context.Context, m *move, temp, seat string) error {
	if _, err := e.root.Lstat(seat); err == nil {
		e.stay(m, seat, changedSince)
	} else {
		e.gone([]*move{m})
	}
	switch m.at {
	case copying, packing: // a half
		return e.clear(temp)
	case linking: // a copy that stepped aside
		if _, err := e.root.Lstat(temp); err != nil {
			return removed(err)
		}
		why, err := e.prove(ctx, m, temp)
		if err == nil && why == "" {
			return e.clear(temp)
		}
		if err == nil {
			e.stay(m, temp, why)
		}
		return err
	}
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
		if err := e.clear(temp); err != nil { // what a crash left
			return err
		}
		e.hook("make")
		if err := e.prepare(ctx, m, temp, seat); err != nil {
			// Not to fill the disk. Where that fails, whoever goes on or back does it.
			_ = e.clear(temp)
			return err
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

// prepare builds what is to be made, and clears its place for it where it cannot take it by itself.
func (e *engine) prepare(ctx context.Context, m *move, temp, seat string) error {
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
		return cmp.Or(err, fmt.Errorf("%w (%s)", ErrChanged, names.Quote(seat)))
	}
	if !m.made.archive() && m.made.Folder {
		e.hook("unlink") // a folder never takes the place of a link by itself
		if err := e.root.Remove(seat); err != nil {
			return err
		}
		m.place = atTemp
	}
	return nil
}

func (e *engine) unmake(ctx context.Context, m *move, temp, seat string) error {
	is := seat
	if m.place == atTemp {
		is = temp
	}
	why, err := e.prove(ctx, m, is)
	if err != nil {
		return err
	}
	if why == "" {
		e.hook("proven")
		if m.made.archive() {
			err = e.discard(m, seat)
		} else {
			why, err = e.relink(ctx, m, temp, seat)
		}
		if err != nil {
			return err
		}
	}
	if why != "" {
		if m.place == atTemp {
			if err := e.settle(m); err != nil {
				return err
			}
		}
		e.stay(m, seat, why)
		m.place = ""
		return nil
	}
	m.place = atOld
	e.hook("removed")
	return e.j.mark(m, atOld, false)
}

// discard takes an archive away.
func (e *engine) discard(m *move, seat string) error {
	if err := e.j.mark(m, removing, true); err != nil {
		return err
	}
	e.hook("remove")
	return removed(e.root.Remove(seat))
}

// relink puts a link back into its place. The copy goes to the other name first, where nobody else
// writes; why says what came up in it while it was compared, which can take hours.
func (e *engine) relink(ctx context.Context, m *move, temp, seat string) (why string, err error) {
	if err := e.j.mark(m, linking, true); err != nil {
		return "", err
	}
	if m.place == atNew {
		if err := e.clear(temp); err != nil {
			return "", err
		}
		e.hook("aside")
		if err := e.root.Rename(seat, temp); err != nil {
			return "", err
		}
		m.place = atTemp
	}
	now, err := inventoryOf(ctx, e.outer(temp), false, nil)
	switch {
	case ctx.Err() != nil:
		return "", ctx.Err()
	case err != nil || now != m.made.Of:
		return changedSince, nil
	}
	e.hook("link")
	if err := e.root.Symlink(string(m.made.Target), seat); err != nil {
		return "", err
	}
	e.hook("linked")
	if err := e.dressLink(m, seat); err != nil {
		return "", err
	}
	// The link must be on the disk before the copy is not.
	return "", e.flush()
}

// dressLink gives a link the date and the owner back that it had.
func (e *engine) dressLink(m *move, seat string) error {
	m.made.Owner.give(e.root, seat)
	dir, err := e.root.Open(cmp.Or(e.here(m, ""), "."))
	if err != nil {
		return err
	}
	defer dir.Close()
	if err := disk.SetLinkTime(dir, m.to, m.id.modTime()); err != nil {
		e.out.Dates = append(e.out.Dates, seat)
	}
	return nil
}

// settle renames what was made to its name, which nothing has.
func (e *engine) settle(m *move) error {
	dir, err := e.root.Open(cmp.Or(e.here(m, ""), "."))
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

// clear removes what was on its way, if it is there: a disk that is mounted read-only refuses to remove
// what is not there too.
func (e *engine) clear(temp string) error {
	if _, err := e.root.Lstat(temp); err != nil {
		return removed(err)
	}
	return e.root.RemoveAll(temp)
}

func (e *engine) stay(m *move, path, why string) {
	e.out.Stayed = append(e.out.Stayed, Stay{path, why})
}

const changedSince = "it has changed since"
