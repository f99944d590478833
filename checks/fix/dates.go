package fix

import (
	"errors"
	"io/fs"
	"time"

	"loadline/checks/internal/disk"
)

// restoreDates gives the folders the dates back that they had, the source folder excepted.
func (e *engine) restoreDates() {
	for _, f := range e.j.folders {
		if f.path != "" {
			e.restoreDate(f)
		}
	}
}

func (e *engine) restoreRoot() {
	for _, f := range e.j.folders {
		if f.path == "" {
			e.restoreDate(f)
		}
	}
}

// redate gives one folder its date back while the work goes on; whether that worked is reported at the end.
func (e *engine) redate(path string) {
	for _, f := range e.j.folders {
		if f.path == path {
			_ = e.date(f)
			return
		}
	}
}

func (e *engine) restoreDate(f dated) {
	if e.date(f) != nil {
		e.out.Dates = append(e.out.Dates, f.path)
	}
}

// date gives a folder its date back, if it is still that folder.
func (e *engine) date(f dated) error {
	now := e.folderNow(f.path)
	info, err := e.root.Lstat(now)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil
	case err != nil:
		return err
	case !info.IsDir() || !identify(info).same(f.id, e.lasting) || info.ModTime().Equal(f.id.modTime()):
		return nil
	}
	e.hook("date")
	defer e.hook("dated")
	// Both times are given: some FUSE programs take no notice of one alone, and say nothing.
	return e.setDates(now, disk.AccessTime(info), f.id.modTime())
}

// setDates sets both dates of a file or folder, and looks whether the disk has kept that of the content.
func (e *engine) setDates(path string, access, content time.Time) error {
	// os.Root.Chtimes counts nanoseconds since 1970 in 64 bits: beyond them it would set any date.
	if !content.Equal(time.Unix(0, content.UnixNano())) {
		return errDate
	}
	if !access.Equal(time.Unix(0, access.UnixNano())) {
		access = content
	}
	if err := e.root.Chtimes(path, access, content); err != nil {
		return err
	}
	info, err := e.root.Lstat(path)
	if err == nil && !info.ModTime().Equal(content) {
		err = errDate
	}
	return err
}

var errDate = errors.New("the disk did not keep the date")
