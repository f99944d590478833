package fix

import (
	"cmp"
	"context"
	"fmt"
	"io/fs"
	"os"
	"strings"

	gopsutil "github.com/shirou/gopsutil/v3/disk"

	"loadline/checks"
	"loadline/checks/internal/disk"
	"loadline/checks/names"
	"loadline/checks/share"
)

// made is what the journal knows of a copy or an archive. From is the name of the link or of the card, To that
// of what is made.
type made struct {
	Target raw       `json:"target,omitempty"`  // what the link points to; none for an archive
	Of     inventory `json:"of"`                // what goes in
	Folder bool      `json:"folder,omitempty"`  // the link points to a folder
	Size   int64     `json:"archive,omitempty"` // bytes of an archive
	Owner  owner     `json:"owner,omitzero"`    // of the link
}

func (m *made) archive() bool { return m.Target == "" }

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

// original is where what a copy holds came from: the card, or what the link points to. The target
// is not cleaned: "a/.." of a link a is not the folder that a stands in.
func (e *engine) original(m *move) string {
	if m.made.archive() {
		return e.fullPath(e.pathNow(m, m.from))
	}
	if target := string(m.made.Target); strings.HasPrefix(target, "/") {
		return target
	}
	return e.fullPath(e.pathNow(m, string(m.made.Target)))
}

// originalInventory tells what the original holds now.
func (e *engine) originalInventory(ctx context.Context, m *move) (inventory, error) {
	if m.made.archive() {
		return inventoryOf(ctx, e.original(m), false, nil)
	}
	folder, err := e.root.Lstat(cmp.Or(e.pathNow(m, ""), "."))
	if err != nil {
		return inventory{}, err
	}
	return inventoryOf(ctx, e.original(m), true, folder)
}

// measure finds out what a copy would hold.
func (e *engine) measure(ctx context.Context, m *move) (err error) {
	path := names.Join(m.dir, m.from)
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
			return fmt.Errorf("cannot copy %s: %w", names.Quote(path), disk.WithoutPath(err))
		}
		m.made.Folder = info.IsDir()
	}
	return nil
}

// perFile is what a file takes on a disk beside its content, about: half of the usual 4 KiB that
// end it and as much for its name and dates (common practice, no source).
const perFile = 4096

// estimate compares the room that the copies take with what the disk has.
func (e *engine) estimate() (*Estimate, error) {
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
		return w, fmt.Errorf("%w: the copies take about %s, the disk has %s free", ErrRoom, checks.Bytes(w.Bytes), checks.Bytes(w.Free))
	}
	return w, nil
}
