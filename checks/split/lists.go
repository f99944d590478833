package split

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"loadline/checks"
	"loadline/checks/internal/disk"
	"loadline/checks/names"
	"loadline/checks/share"
)

// ErrLineBreak: a path contains a line break, so a list with one path per line cannot hold it.
var ErrLineBreak = errors.New("a path contains a line break")

// CheckFolder says by an error why lists cannot be written to a folder: it is there and not empty, the one
// above it is not there, or it would be in the source, where nothing may be changed. It may hang where a
// folder is on a share: call it behind share.Guard.
func CheckFolder(dir, source string) error {
	shown := names.Quote(dir)
	list, err := os.ReadDir(dir)
	place := dir
	switch {
	case errors.Is(err, fs.ErrNotExist):
		if _, err := os.Lstat(dir); err == nil { // Windows says of a file that there is no such folder
			return fmt.Errorf("the folder %s cannot be used for the lists: there is something else of that name", shown)
		}
		if err := disk.Creatable(dir); err != nil {
			return fmt.Errorf("the folder %s cannot be made: %w", shown, err)
		}
		place = filepath.Dir(filepath.Clean(dir))
		if info, err := os.Stat(place); err != nil || !info.IsDir() {
			return fmt.Errorf("there is no folder %s; make it first, or choose another folder for the lists", names.Quote(place))
		}
	case err != nil:
		return fmt.Errorf("the folder %s cannot be used for the lists: %s", shown, checks.Reason(err))
	}
	for _, e := range list {
		if !names.Clutter(e.Name()) {
			return fmt.Errorf("the folder %s is not empty; choose a new one for the lists", shown)
		}
	}
	if in, err := share.Inside(source, place); err == nil && in {
		return fmt.Errorf("%s is inside the source, where nothing may be changed; choose another folder for the lists", shown)
	}
	return nil
}

// ListName is the name of the copy list of the box of an index, which begins at 0.
func ListName(box int) string { return fmt.Sprintf("box-%d.list", box+1) }

// WriteLists writes the copy list of every box that holds something to a folder, which is made if it is not
// there: relative paths, one per line or each ended by NUL, sorted by their bytes. Load.List then names them.
// No file is replaced. On an error nothing stays behind; it is ErrLineBreak where lines cannot hold a path.
func (p *Plan) WriteLists(ctx context.Context, dir string, nul bool) (err error) {
	for i := range p.Loads { // those of an earlier call stay, whatever becomes of these
		p.Loads[i].List = ""
	}
	end := byte(0)
	if !nul {
		end = '\n'
		if n, first := p.broken(); n > 0 {
			return fmt.Errorf("%w: end the paths with NUL instead (-0) (%s, the first is %s)", ErrLineBreak, checks.Plural(n, "path"), names.Quote(first))
		}
	}
	made := false
	if err := os.Mkdir(dir, 0o777); err == nil {
		made = true
	} else if !errors.Is(err, fs.ErrExist) {
		return fmt.Errorf("the folder %s cannot be made: %s", names.Quote(dir), checks.Reason(err))
	}
	defer func() {
		if err == nil {
			return
		}
		for i := range p.Loads {
			if l := &p.Loads[i]; l.List != "" {
				err = errors.Join(err, os.Remove(l.List))
				l.List = ""
			}
		}
		if made {
			err = errors.Join(err, os.Remove(dir))
		}
	}()
	for i := range p.Loads {
		l := &p.Loads[i]
		if l.Files == 0 {
			continue
		}
		file := filepath.Join(dir, ListName(i))
		if err := disk.WriteNew(file, func(w io.Writer) error { return p.writeList(ctx, w, i, end) }); err != nil {
			if ctx.Err() != nil {
				return ctx.Err()
			}
			return fmt.Errorf("the list %s could not be written: %s", names.Quote(file), checks.Reason(err))
		}
		l.List = file
	}
	return nil
}

// writeList writes the copy list of one box.
func (p *Plan) writeList(ctx context.Context, w io.Writer, box int, end byte) (err error) {
	n := 0
	var line []byte
	p.root.each(func(path string, _ int64, in int) bool {
		if n++; n%4096 == 0 {
			if err = ctx.Err(); err != nil {
				return false
			}
		}
		if in == box {
			line = append(append(line[:0], path...), end)
			_, err = w.Write(line)
		}
		return err == nil
	})
	if err == nil {
		err = ctx.Err()
	}
	return err
}

// broken counts the paths in boxes that a list with one path per line cannot hold. A carriage return counts
// too: there are readers of lists that take it for the end of a line.
func (p *Plan) broken() (n int64, first string) {
	p.root.each(func(path string, _ int64, box int) bool {
		if box != none && strings.ContainsAny(path, "\n\r") {
			if n++; n == 1 {
				first = path
			}
		}
		return true
	})
	return n, first
}
