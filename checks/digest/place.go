package digest

import (
	"context"
	"crypto/sha256"
	"encoding/binary"
	"os"
	"path"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"loadline/checks/internal/disk"
	"loadline/checks/share"
	"loadline/checks/walk"
)

// An Ident tells one state of one file from any other: its disk or share, its number or its path there,
// its size and its dates, in short: the first 8 bytes of a SHA-256. 0 is none.
type Ident uint64

// A place is a disk or a share on which files are known again.
type place struct {
	id    string // of the disk, the same on every mount and port; else where it is mounted from
	fixed bool   // nothing lasting is known of the disk: the number of the device tells it from others
	paths bool   // files have no numbers that last, so they are known by their paths
	above string // path of root on its file system, where files are known by paths
	dates bool   // dates of status changes last
}

// Places knows the disks below one folder. It is safe for concurrent use.
type Places struct {
	root string
	main place

	mu     sync.Mutex
	device uint64 // of the folder; 0 until it was seen
	number uint64 // of the folder there
	below  map[uint64]place
}

// At looks at what a folder is on. It asks the disk or the share, and gives up after the deadline.
func At(ctx context.Context, root string, deadline time.Duration) (*Places, error) {
	rows, err := share.Mounts(ctx)
	if err != nil {
		rows = nil // only less is known
	}
	p := &Places{root: root, below: map[uint64]place{}}
	state, err := share.Guard(ctx, deadline, func() (disk.State, error) {
		p.main = placeOf(root, rows)
		return disk.Lstat(root)
	})
	if err != nil {
		return nil, err
	}
	p.device, p.number = state.Device, state.Number
	return p, nil
}

// Here reports by ErrGone that the folder is no longer on what it was on when At looked: what was mounted there is not
// any more, or something else is.
func (p *Places) Here(ctx context.Context, deadline time.Duration) error {
	state, err := share.Guard(ctx, deadline, func() (disk.State, error) { return disk.Lstat(p.root) })
	switch {
	case ctx.Err() != nil, share.Silent(err):
		return err
	case err != nil, state.Device != p.device, state.Number != p.number:
		return ErrGone
	}
	return nil
}

func placeOf(root string, rows []share.Mount) place {
	p := place{fixed: true, dates: true, id: "disk"}
	m, mounted := share.Covering(rows, root)
	if mounted {
		p.id = m.From + " " + m.Type
		switch m.Type {
		case "vfat", "msdos", "exfat", "fuseblk":
			p.dates = false
		}
	}
	if mounted && disk.MediumOf(root).Network == disk.Yes {
		p.fixed = false // its device has another number on every mount
		return p
	}
	if id, err := disk.DiskID(root); err == nil && id != "" {
		p.id, p.fixed = id, false
	}
	p.paths = true
	if f, err := os.Open(root); err == nil {
		p.paths = !disk.LastingNumbers(f)
		_ = f.Close() // nothing was written
	}
	if p.paths {
		p.above = filepath.ToSlash(root)
		if mounted {
			if rel, err := filepath.Rel(m.Point, root); err == nil && !strings.HasPrefix(rel, "..") {
				p.above = path.Join(m.Root, filepath.ToSlash(rel))
			}
		}
	}
	return p
}

// ID names what the folder is on, for the name of what is remembered of it.
func (p *Places) ID() string { return p.main.id }

// on returns the place of a file by the number of its device.
func (p *Places) on(device uint64, file string) *place {
	if device == p.device || device == 0 || !p.main.fixed && p.device == 0 {
		return &p.main
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	at, ok := p.below[device]
	if !ok {
		dir := filepath.Join(p.root, filepath.FromSlash(path.Dir(file)))
		at, _ = share.Guard(context.Background(), share.DefaultDeadline, func() (place, error) {
			rows, _ := share.Mounts(context.Background())
			return placeOf(dir, rows), nil
		})
		if at.paths {
			// Paths are told from the root of all.
			at.above = filepath.ToSlash(p.root)
		}
		p.below[device] = at
	}
	return &at
}

// IdentOf returns what tells a state of a file, 0 where the system does not tell enough.
func (p *Places) IdentOf(file string, s *disk.State) Ident {
	if !s.Known {
		s = &disk.State{Device: s.Device, Size: s.Size, Modified: s.Modified}
	}
	return p.ident(file, s.Device, s.Number, s.Size, s.Modified, walk.StampOf(s.Changed))
}

// IdentIn is IdentOf for a file that a walk has met. Where a listing tells no number of a file, as on Windows, the
// file itself is asked, which costs opening it.
func (p *Places) IdentIn(d *walk.Dir, e *walk.Entry) Ident {
	if e.Inode == 0 {
		file := d.Join(e.Name)
		s, err := disk.Lstat(filepath.Join(p.root, filepath.FromSlash(file)))
		if err != nil {
			return 0
		}
		return p.IdentOf(file, &s)
	}
	return p.ident(d.Join(e.Name), d.Device, e.Inode, e.Size, e.ModTime().UnixNano(), e.Stamp)
}

func (p *Places) ident(file string, device, number uint64, size, modified int64, stamp uint32) Ident {
	at, b, ok := p.file(file, device, number)
	if !ok {
		return 0
	}
	b = binary.BigEndian.AppendUint64(b, uint64(size))
	b = binary.BigEndian.AppendUint64(b, uint64(modified))
	if at.dates {
		b = binary.BigEndian.AppendUint32(b, stamp)
	}
	return identOf(b)
}

// kinBits are those of an ident that tells a file in whatever state.
const kinBits = 1<<56 - 1

// kinOf returns what tells a file, in whatever state, 0 where the system does not tell enough.
func (p *Places) kinOf(file string, s *disk.State) Ident {
	_, b, ok := p.file(file, s.Device, s.Number)
	if !ok {
		return 0
	}
	return identOf(b) & kinBits
}

// file begins what an ident is made of.
func (p *Places) file(file string, device, number uint64) (at *place, b []byte, ok bool) {
	at = p.on(device, file)
	if at.id == "" || !at.paths && number == 0 {
		return at, nil, false
	}
	b = append(make([]byte, 0, 192), at.id...)
	b = append(b, 0)
	if at.fixed {
		b = binary.BigEndian.AppendUint64(b, device)
	}
	if at.paths {
		return at, append(append(append(append(b, at.above...), '/'), file...), 0), true
	}
	return at, binary.BigEndian.AppendUint64(b, number), true
}

func identOf(b []byte) Ident {
	sum := sha256.Sum256(b)
	return Ident(binary.BigEndian.Uint64(sum[:8]))
}
