package before

import (
	"cmp"
	"context"
	"fmt"
	"strings"
	"sync"
	"sync/atomic"

	"loadline/checks"
	"loadline/checks/names"
	"loadline/checks/share"
	"loadline/checks/walk"
)

var (
	pathTooLong = &checks.Rule{
		ID: "path-too-long", Level: checks.Fail,
		When:   "share path, prefix and relative path together have more than 4,095 bytes; on a Mac 1,023, and so the path on the source",
		Fix:    "Shorten the longest folder names in its path.",
		Source: "limits.h PATH_MAX 4,096 with the NUL that ends it; measured; bsd/sys/syslimits.h of xnu, PATH_MAX 1,024",
	}
	keyTooLong = &checks.Rule{
		ID: "key-too-long", Level: checks.Fail,
		When:   "prefix and relative path together have more bytes than a key may (1,024, or -key-bytes)",
		Fix:    "Shorten the longest folder names in its path, or the prefix.",
		Source: "common practice, no source: the usual limit of object stores",
	}
	longForWindows = &checks.Rule{
		ID: "long-for-windows", Level: checks.Note,
		When:   "the relative path has more than 259 UTF-16 units",
		Fix:    "Nothing to do now; shorten it if the archive must be opened on older Windows programs.",
		Source: "common practice, no source",
	}
	overPosixPath = &checks.Rule{
		ID: "over-posix-path", Level: checks.Note, Counted: true,
		When:   "the relative path has more than 255 bytes, which is all that POSIX promises",
		Fix:    "Nothing to do on today's systems.",
		Source: "POSIX limits.h _POSIX_PATH_MAX 256 with the NUL; pathchk -p",
	}
	tooDeep = &checks.Rule{
		ID: "too-deep", Level: checks.Warn,
		When:   "the folder is more than 20 folders deep",
		Fix:    "Move it up, or archive it as one file.",
		Source: "common practice, no source",
	}
)

// pathState holds what the walk adds up for paths.
type pathState struct {
	head    []int // bytes of share path and prefix with the slashes behind them, by number of the source
	prefix  []int // bytes of the prefix with the slash behind it, by number of the source
	source  []int // bytes of the source's path with the slash behind it, where it counts
	most    int   // longest whole path, bytes
	longest atomic.Int64
	deepest atomic.Int64
	mu      sync.Mutex
	below   map[placed]*below // by topmost folder that is too deep
}

// below counts what is in a folder that is flagged as a whole.
type below struct{ files, bytes int64 }

var pathDepth = &checks.Check{
	ID: "path-depth", Title: "No path is too long or too deep", Group: checks.GroupNames,
	Doc: "Adds up the bytes of every path as it will be on the share, and of every key as it will be in " +
		"the object store: the prefix, a slash, the path below the source.",
	Fix:   "Shorten the longest folder names in what is listed, or choose a shorter prefix.",
	Rules: []*checks.Rule{pathTooLong, keyTooLong, longForWindows, overPosixPath, tooDeep},
	Begin: func(pass *checks.Pass) any { return newPathState(pass.Job, copier(pass)) },
	Visit: visitPaths,
	Finish: func(_ context.Context, pass *checks.Pass) error {
		s := pass.State.(*pathState)
		for p, b := range s.below {
			pass.Add(checks.Finding{
				Path: p.path, Source: p.source, Rule: tooDeep, Level: checks.Warn,
				Detail: fmt.Sprintf("%d folders deep, at most %d are workable; %s, %s below", names.DepthMax+1, names.DepthMax, checks.Plural(b.files, "file"), checks.Bytes(b.bytes)),
			})
		}
		pass.Fact("longest_key_bytes", s.longest.Load(), "Longest key: %s of %s bytes", checks.Count(s.longest.Load()), checks.Count(int64(pass.Job.KeyBytes)))
		pass.Fact("deepest", s.deepest.Load(), "Deepest folder: %d of %d", s.deepest.Load(), names.DepthMax)
		pass.Summarize("The longest key has %s of %s bytes; folders are up to %d deep.", checks.Count(s.longest.Load()), checks.Count(int64(pass.Job.KeyBytes)), s.deepest.Load())
		return nil
	},
}

// macPathMax is the longest path that a program on a Mac can give to the system in one piece.
const macPathMax = 1023

// copier is the system that will make the copy: what it reads has its limits too.
func copier(pass *checks.Pass) share.Platform {
	if m := checks.StateOf[shareState](pass, ShareMounted); m != nil && m.Facts != nil {
		return m.Facts.On()
	}
	return share.ThisPlatform()
}

func newPathState(job *checks.Job, on share.Platform) *pathState {
	s := &pathState{below: map[placed]*below{}, most: names.PathMax}
	if on == share.MacOS {
		s.most = macPathMax
	}
	top := 0
	if job.Share != "" {
		top = len(strings.TrimSuffix(job.Share, "/")) + 1
	}
	for _, d := range job.Disks() {
		prefix, source := 0, 0
		if d.Prefix != "" {
			prefix = len(d.Prefix) + 1
		}
		if on == share.MacOS {
			source = len(strings.TrimSuffix(d.Source, "/")) + 1
		}
		s.prefix, s.head, s.source = append(s.prefix, prefix), append(s.head, top+prefix), append(s.source, source)
	}
	return s
}

func visitPaths(pass *checks.Pass, d *walk.Dir) {
	s := pass.State.(*pathState)
	raise(&s.deepest, int64(d.Depth))
	prefix, head, source := s.prefix[d.Source], s.head[d.Source], s.source[d.Source]
	at := 0 // bytes of the folder's path with the slash behind it
	if d.Path != "" {
		at = len(d.Path) + 1
	}
	longest, over := 0, int64(0)
	for i := range d.Entries {
		e := &d.Entries[i]
		n := at + len(e.Name)
		if n > names.PosixPathMax {
			over++
		}
		if e.Failed && e.Kind == walk.Folder && d.Depth == names.DepthMax {
			s.countBelow(d.Source, d.Join(e.Name), 0, 0) // it will have no visit of its own
		}
		if e.Kind != walk.File && e.Kind != walk.Link {
			continue
		}
		longest = max(longest, n)
		if n <= names.WindowsPathMax && head+n <= s.most && source+n <= s.most && prefix+n <= pass.Job.KeyBytes {
			continue
		}
		if full := head + n; full > s.most {
			pass.Flag(d, e, pathTooLong, "path is %s bytes on the share, the limit is %s", checks.Count(int64(full)), checks.Count(int64(s.most)))
		} else if full := source + n; full > s.most {
			pass.Flag(d, e, pathTooLong, "path is %s bytes on the source, the limit is %s", checks.Count(int64(full)), checks.Count(int64(s.most)))
		}
		if key := prefix + n; key > pass.Job.KeyBytes {
			pass.Flag(d, e, keyTooLong, "key is %s bytes, the limit is %s", checks.Count(int64(key)), checks.Count(int64(pass.Job.KeyBytes)))
		}
		if n > names.WindowsPathMax {
			if units := names.UTF16Len(d.Path) + min(at, 1) + names.UTF16Len(e.Name); units > names.WindowsPathMax {
				pass.Flag(d, e, longForWindows, "path is %d UTF-16 units, the usual limit is %d", units, names.WindowsPathMax)
			}
		}
	}
	pass.Count(d, overPosixPath, over)
	if longest > 0 {
		raise(&s.longest, int64(prefix+longest))
	}
	if d.Depth > names.DepthMax {
		files, bytes := plainFiles(d)
		s.countBelow(d.Source, d.Path, files, bytes)
	}
}

// countBelow adds a folder to the topmost one above it that is too deep. It takes a lock, which only
// folders that are too deep pay for.
func (s *pathState) countBelow(source int, folder string, files, bytes int64) {
	top := names.FirstParts(folder, names.DepthMax+1)
	s.mu.Lock()
	defer s.mu.Unlock()
	addBelow(s.below, placed{source, top}, files, bytes)
}

// A placed is a path on one of the sources.
type placed struct {
	source int
	path   string
}

func comparePlaced(a, b placed) int {
	return cmp.Or(cmp.Compare(a.source, b.source), strings.Compare(a.path, b.path))
}

// addBelow adds to what is below a folder and returns the folder.
func addBelow(sums map[placed]*below, folder placed, files, bytes int64) placed {
	b := sums[folder]
	if b == nil {
		b = &below{}
		folder.path = strings.Clone(folder.path)
		sums[folder] = b
	}
	b.files += files
	b.bytes = walk.AddSizes(b.bytes, bytes)
	return folder
}

// plainFiles counts the regular files right in a folder and their bytes.
func plainFiles(d *walk.Dir) (files, bytes int64) {
	for i := range d.Entries {
		if d.Entries[i].Kind == walk.File {
			files++
			bytes = walk.AddSizes(bytes, d.Entries[i].Size)
		}
	}
	return files, bytes
}
