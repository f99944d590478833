package checks

import (
	"bytes"
	"fmt"
	"io"
	"iter"
	"maps"
	"os"
	"path"
	"strings"

	"loadline/checks/walk"
)

// A CopyList names the files that a copy is to take, by their paths relative to the source. The checks
// of space and time follow it, and the stage after copying does not miss what is not on it. All others
// still look at everything, but before copying, what they find in a place that nothing is copied from is
// a note: it does no harm there.
type CopyList struct {
	files   map[string]struct{}
	folders map[string]struct{} // that hold a listed file or a folder of one
}

// OpenCopyList reads the list in a file; see ReadCopyList.
func OpenCopyList(file string) (*CopyList, error) {
	f, err := os.Open(file)
	if err != nil {
		return nil, fmt.Errorf("the copy list cannot be opened: %w", err)
	}
	defer f.Close()
	return ReadCopyList(f)
}

// ReadCopyList reads a list with one path per line or, if it holds a NUL byte, each path ended by NUL.
// Leading "./" and empty lines do not count; a path that is absolute or climbs out is an error.
func ReadCopyList(r io.Reader) (*CopyList, error) {
	text, err := io.ReadAll(r)
	if err != nil {
		return nil, fmt.Errorf("the copy list cannot be read: %w", err)
	}
	end := []byte{'\n'}
	if bytes.IndexByte(text, 0) >= 0 {
		end[0] = 0
	}
	l := &CopyList{files: map[string]struct{}{}, folders: map[string]struct{}{}}
	number := 0
	for line := range bytes.SplitSeq(text, end) {
		number++
		if len(line) == 0 {
			continue
		}
		p := path.Clean(string(line))
		if path.IsAbs(p) || p == ".." || strings.HasPrefix(p, "../") || p == "." {
			return nil, fmt.Errorf("copy list, entry %d: %s is not the path of a file below the source", number, Plain(string(line)))
		}
		l.files[p] = struct{}{}
		for dir := path.Dir(p); dir != "."; dir = path.Dir(dir) {
			if _, known := l.folders[dir]; known {
				break
			}
			l.folders[dir] = struct{}{}
		}
	}
	if len(l.files) == 0 {
		return nil, fmt.Errorf("the copy list is empty: it names no file")
	}
	return l, nil
}

// Len is how many paths the list names.
func (l *CopyList) Len() int64 { return int64(len(l.files)) }

// All returns the paths, in no order.
func (l *CopyList) All() iter.Seq[string] { return maps.Keys(l.files) }

// Has reports whether the list names a path.
func (l *CopyList) Has(p string) bool {
	_, ok := l.files[p]
	return ok
}

// CopiesFile reports whether the file of a path is to be copied.
func (j *Job) CopiesFile(p string) bool { return j.CopyList == nil || j.CopyList.Has(p) }

// CopiesFolder reports whether the folder of a path is to be made on the share.
func (j *Job) CopiesFolder(p string) bool {
	if j.CopyList == nil {
		return true
	}
	_, ok := j.CopyList.folders[p]
	return ok
}

// spare turns findings about what is not copied into notes.
func (j *Job) spare(found []Finding) {
	if j.CopyList == nil || j.Stage != Before {
		return
	}
	for i := range found {
		if p := found[i].Path; p != "" && !j.CopiesFile(p) && !j.CopiesFolder(p) {
			found[i].Spared, found[i].Level = found[i].Level, Note
		}
	}
}

// Copied reports whether a file is to be copied; without a list it builds no path.
func (pass *Pass) Copied(d *walk.Dir, e *walk.Entry) bool {
	return pass.Job.CopyList == nil || pass.Job.CopyList.Has(d.Join(e.Name))
}
