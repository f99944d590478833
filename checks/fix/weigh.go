package fix

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"strings"

	gopsutil "github.com/shirou/gopsutil/v3/disk"

	"loadline/checks/internal/disk"
	"loadline/checks/names"
	"loadline/checks/share"
)

// made is what the journal knows of a making. From is the name of the link or of the card, To that
// of what is made.
type made struct {
	Target raw       `json:"target,omitempty"`  // what the link points to; none for an archive
	Of     inventory `json:"of"`                // what goes in
	Folder bool      `json:"folder,omitempty"`  // the link points to a folder
	Size   int64     `json:"archive,omitempty"` // bytes of an archive
	Owner  owner     `json:"owner,omitzero"`    // of the link
}

// owner is whose a file is, by number. Only root may give files to others.
type owner struct {
	Known bool `json:"known"`
	UID   int  `json:"uid"`
	GID   int  `json:"gid"`
}

func ownerOf(info fs.FileInfo) owner {
	uid, gid, known := disk.Owner(info)
	return owner{known, uid, gid}
}

// give makes a file or a link somebody's, as far as the system and the disk let it be done: the copy that
// root makes of a person's file must be readable by that person.
func (o owner) give(root *os.Root, path string) {
	if o.Known && os.Geteuid() == 0 {
		_ = root.Lchown(path, o.UID, o.GID)
	}
}

func (m *made) archive() bool { return m.Target == "" }

// here returns the path of a name in the folder of a move as it is called now.
func (e *engine) here(m *move, name string) string { return join(dot(e.current(m.dir)), name) }

// outer returns a path of the whole system. Only reading goes there.
func (e *engine) outer(path string) string { return e.root.Name() + "/" + path }

// original is where what a making holds came from: the card, or what the link points to. The target
// is not cleaned: "a/.." of a link a is not the folder that a stands in.
func (e *engine) original(m *move) string {
	if m.made.archive() {
		return e.outer(e.here(m, m.from))
	}
	if target := string(m.made.Target); strings.HasPrefix(target, "/") {
		return target
	}
	return e.outer(e.here(m, string(m.made.Target)))
}

// originalInventory tells what the original holds now.
func (e *engine) originalInventory(ctx context.Context, m *move) (inventory, error) {
	if m.made.archive() {
		return inventoryOf(ctx, e.original(m), false, nil)
	}
	folder, err := e.root.Lstat(cmpOr(e.here(m, ""), "."))
	if err != nil {
		return inventory{}, err
	}
	return inventoryOf(ctx, e.original(m), true, folder)
}

// weigh finds out what a making would hold.
func (e *engine) weigh(ctx context.Context, m *move) (err error) {
	path := join(m.dir, m.from)
	if m.made.archive() {
		if m.made.Size, err = archiveSize(ctx, e.original(m), m.from); err != nil {
			return fmt.Errorf("cannot archive %s: %w", names.Quote(path), err)
		}
	}
	if m.made.Of, err = e.originalInventory(ctx, m); err != nil {
		return fmt.Errorf("cannot copy %s: %w", names.Quote(path), err)
	}
	if !m.made.archive() {
		info, err := share.Guard(ctx, patience, func() (fs.FileInfo, error) { return os.Stat(e.original(m)) })
		if err != nil {
			return fmt.Errorf("cannot copy %s: %w", names.Quote(path), cause(err))
		}
		m.made.Folder = info.IsDir()
	}
	return nil
}

// perFile is what a file takes on a disk beside its content, about: half of the usual 4 KiB that
// end it and as much for its name and dates (common practice, no source).
const perFile = 4096

// room compares what the makings take with what the disk has.
func (e *engine) room() (*Estimate, error) {
	w := &Estimate{}
	for _, m := range e.j.moves {
		switch {
		case m.made == nil:
		case m.made.archive():
			w.Bytes += m.made.Size + perFile
		default:
			w.Bytes += m.made.Of.Bytes + m.made.Of.Files*perFile
		}
	}
	usage, err := gopsutil.Usage(e.root.Name())
	if err != nil {
		return w, fmt.Errorf("cannot find out how much room the disk has: %w", err)
	}
	w.Free = int64(min(usage.Free, 1<<62))
	if w.Bytes > w.Free {
		return w, fmt.Errorf("%w: the copies take about %d bytes, the disk has %d free", ErrRoom, w.Bytes, w.Free)
	}
	return w, nil
}

// ErrRoom: the disk has no room for copies and archives. Nothing was changed.
var ErrRoom = errors.New("the disk has too little room")

// preflightMade makes sure that what is to be made can be, and notes what will go in.
func (e *engine) preflightMade(ctx context.Context, date func(string) error) error {
	any := false
	for _, m := range e.j.moves {
		if m.made == nil {
			continue
		}
		any = true
		path := join(m.dir, m.from)
		info, err := e.root.Lstat(path)
		if err != nil {
			return fmt.Errorf("cannot look at %s: %w", names.Quote(path), explain(err))
		}
		m.id = identify(info)
		if m.made.archive() {
			if err := e.nameFree(m); err != nil {
				return err
			}
		} else if target, err := e.root.Readlink(path); err != nil || target != string(m.made.Target) {
			return fmt.Errorf("%w (the link %s points elsewhere)", ErrChanged, names.Quote(path))
		} else {
			m.made.Owner = ownerOf(info)
		}
		if err := e.weigh(ctx, m); err != nil {
			return err
		}
		if err := date(m.dir); err != nil {
			return err
		}
	}
	if !any {
		return nil
	}
	_, err := e.room()
	return err
}

// nameFree makes sure that nothing has the name of an archive, or will have it.
func (e *engine) nameFree(m *move) error {
	list, err := e.list(cmpOr(m.dir, "."))
	if err != nil {
		return fmt.Errorf("cannot list the folder %s: %w", names.Quote(m.dir), explain(err))
	}
	taken := func(name string) bool { return fold(name) == fold(m.to) }
	clash := false
	for name := range list {
		clash = clash || taken(name)
	}
	for _, other := range e.byDir[m.dir] {
		clash = clash || taken(other.to)
	}
	if clash {
		return fmt.Errorf("%w (%s has come up)", ErrChanged, names.Quote(join(m.dir, m.to)))
	}
	return nil
}

// guardOfMade tells a guard that a crash left where a making was about to take its place. What takes a
// place is under the other name no more, so an empty folder there is the copy of one.
func (e *engine) guardOfMade(m *move, path string, info fs.FileInfo) bool {
	if m.at != copying && m.at != packing && m.at != linking {
		return false
	}
	if _, err := e.root.Lstat(e.here(m, m.temp)); err != nil {
		return false
	}
	if !m.made.Folder {
		return e.holdsGuard(path, info)
	}
	list, err := e.list(path)
	return info.IsDir() && err == nil && len(list) == 0
}

// locateMade finds out whether a making is there. A link whose place is empty is on its way, if what
// takes its place, or has left it, is there under the other name.
func (e *engine) locateMade(ctx context.Context, m *move) error {
	seat := e.here(m, m.to)
	info, err := e.root.Lstat(seat)
	gone := errors.Is(err, fs.ErrNotExist)
	if err == nil && e.guardOfMade(m, seat, info) {
		if err := removed(e.root.Remove(seat)); err != nil {
			return err
		}
		gone = true
	}
	switch {
	case err != nil && !gone:
		return err
	case m.made.archive():
		switch {
		case gone:
			m.place = atOld
		case info.Mode().IsRegular() && info.Size() == m.made.Size:
			m.place = atNew
		}
	case gone:
		switch now, err := inventoryOf(ctx, e.outer(e.here(m, m.temp)), false, nil); {
		case ctx.Err() != nil:
			return ctx.Err()
		case errors.Is(err, fs.ErrNotExist):
		case m.at == linking, m.at == copying && err == nil && now == m.made.Of:
			m.place = atTemp
		}
	case info.Mode()&fs.ModeSymlink != 0:
		if target, err := e.root.Readlink(seat); err == nil && target == string(m.made.Target) {
			m.place = atOld
		}
	default:
		now, err := inventoryOf(ctx, e.outer(seat), false, nil)
		if ctx.Err() != nil {
			return ctx.Err()
		}
		if err == nil && now == m.made.Of {
			m.place = atNew
		}
	}
	return nil
}
