package fix

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"slices"
	"strings"

	gopsutil "github.com/shirou/gopsutil/v3/disk"

	"loadline/checks"
	"loadline/checks/internal/disk"
	"loadline/checks/names"
	"loadline/checks/share"
)

// A Copy is something that a plan makes besides changing names: a copy in the place of a link, or
// the archive of a card beside it.
type Copy struct {
	Path    string // of the link, or of the card
	To      string // of what is made, before any rename
	Archive bool
	Files   int64 // what goes in, known after Estimate
	Bytes   int64

	target string // of a link
}

// Replace plans to put a copy of what a link points to in the place of the link; on says whether
// to, or no longer to. Only links whose Left has OfferReplace can be replaced. Links inside of what
// is copied are followed too.
func (p *Plan) Replace(path string, on bool) error {
	if !on {
		delete(p.copies, path)
		return nil
	}
	for i := range p.Left {
		if l := &p.Left[i]; l.Path == path && slices.Contains(l.Offers, OfferReplace) {
			if p.renames(path) {
				return errors.New("this plan renames the link: apply that first, then replace it")
			}
			for _, m := range p.copies {
				if m.Archive && below(path, m.Path) {
					return fmt.Errorf("the link is in %s, which this plan archives: replace the link first, then archive", names.Quote(m.Path))
				}
			}
			p.copies[path] = &Copy{Path: path, To: path, target: l.Target}
			return nil
		}
	}
	return fmt.Errorf("%s is not a link to a file or folder that could be copied", names.Quote(path))
}

// Archive plans to put a card into one file beside it; on says whether to, or no longer to. The
// card stays as it is. Once the archive is there, lists have it in place of the card.
func (p *Plan) Archive(path string, on bool) error {
	if !on {
		delete(p.copies, path)
		return nil
	}
	for _, c := range p.Cards {
		if c.Path != path {
			continue
		}
		if c.File == "" {
			return fmt.Errorf("%s is the source itself: there is no place beside it for an archive", names.Quote(path))
		}
		if c.Archived {
			return fmt.Errorf("%s is already in the archive %s", names.Quote(path), names.Quote(c.File))
		}
		dir, _ := names.Split(c.Path)
		if room, _ := p.limits.pathRoom(); len(names.Join(dir, c.File)) > room {
			return fmt.Errorf("the path of the archive would be %d bytes, %d fit: move %s to a folder further up first", len(names.Join(dir, c.File)), room, names.Quote(path))
		}
		// Its archive is found by the name of the card, and lists have it for what the card holds now.
		if p.renames(path) {
			return fmt.Errorf("this plan renames %s: apply that first, then archive it", names.Quote(path))
		}
		for _, m := range p.copies {
			if below(m.Path, path) {
				return fmt.Errorf("this plan replaces the link %s in it: apply that first, then archive", names.Quote(m.Path))
			}
		}
		for i := range p.Steps {
			if s := &p.Steps[i]; s.Changes() && s.folder.path == dir && names.Fold(s.entry.to) == names.Fold(c.File) {
				return fmt.Errorf("this plan gives %s the name of the archive: apply that first, then archive", names.Quote(s.From))
			}
		}
		p.copies[path] = &Copy{Path: path, To: names.Join(dir, c.File), Archive: true}
		return nil
	}
	return fmt.Errorf("%s is not a camera card, bundle or package that could be archived", names.Quote(path))
}

// renames reports whether the plan gives a path another last part.
func (p *Plan) renames(path string) bool {
	s, ok := p.find(path)
	return ok && p.Steps[s].From == path
}

func below(path, folder string) bool { return strings.HasPrefix(path, folder+"/") }

// Copies tells what Replace and Archive were asked for, copies first, each by path. They are made in
// that order: an archive that came to be in what a link points to would change what is copied.
func (p *Plan) Copies() []Copy {
	all := make([]Copy, 0, len(p.copies))
	for _, m := range p.copies {
		all = append(all, *m)
	}
	slices.SortFunc(all, func(a, b Copy) int {
		switch {
		case a.Archive == b.Archive:
			return strings.Compare(a.Path, b.Path)
		case a.Archive:
			return 1
		}
		return -1
	})
	return all
}

// An Estimate is what the copies of a plan need.
type Estimate struct {
	Copies []Copy
	Bytes  int64 // that they take on the disk, about
	Free   int64 // that the disk has
}

// Estimate looks through what would be copied, and counts. The error tells what cannot be copied, or
// that the disk has no room.
func (p *Plan) Estimate(ctx context.Context) (*Estimate, error) {
	e, err := open(p.Source, Options{})
	if err != nil {
		return nil, err
	}
	defer e.close()
	e.j = p.newJournal()
	e.index()
	for _, m := range e.j.moves {
		m.place = atOld
		if m.made == nil {
			continue
		}
		if err := e.measure(ctx, m); err != nil {
			return nil, err
		}
		key := names.Join(m.dir, m.from)
		p.copies[key].Files, p.copies[key].Bytes = m.made.Of.Files, m.made.Of.Bytes
	}
	w, err := e.estimate()
	w.Copies = p.Copies()
	return w, err
}

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
