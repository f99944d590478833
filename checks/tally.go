package checks

import (
	"cmp"
	"slices"
	"strings"

	"loadline/checks/names"
	"loadline/checks/walk"
)

// A Tally is what the walk adds up for all checks at once.
type Tally struct {
	Totals
	LargestFile int64
	LargestPath string
	// Copy is what is to be copied: all of it, or what a copy list names.
	Copy CopyTotals

	list    *CopyList
	workers []tallyShard
	folders map[folderKey]*FolderSum
}

// CopyTotals count what is to be copied.
type CopyTotals struct {
	Files, Folders, Bytes int64
	LargestFile           int64 // bytes
}

// folderKey names a folder among those of all sources.
type folderKey struct {
	source int
	path   string
}

// tallyShard is one worker's share of the sums.
type tallyShard struct {
	Totals
	copy        CopyTotals
	largest     int64
	largestPath string
	folders     map[folderKey]*FolderSum
	_           [64]byte
}

const (
	// sumDepth is how deep folders are summed for the picture of the largest ones: deeper sums
	// would cost memory for every folder of the disk.
	sumDepth = 3
	// sumFolders bounds the sums of one worker.
	sumFolders = 20_000
	// largestShown is how many folders the report names.
	largestShown = 12
)

func newTally(workers int, list *CopyList) *Tally {
	return &Tally{workers: make([]tallyShard, workers), list: list}
}

// visit adds one folder. It is called concurrently, never twice at a time with one d.Worker.
func (t *Tally) visit(d *walk.Dir) {
	w := &t.workers[d.Worker]
	if d.Depth > 0 && !d.Loop {
		w.Folders++
	}
	files, bytes := int64(0), int64(0)
	largest := -1
	for i := range d.Entries {
		e := &d.Entries[i]
		switch e.Kind {
		case walk.Folder:
			if e.Failed {
				w.Folders++ // it has no visit of its own
			}
		case walk.File:
			files++
			bytes = walk.AddSizes(bytes, e.Size)
			if e.Size > 0 && (largest < 0 || larger(e, &d.Entries[largest])) {
				largest = i
			}
			if t.list != nil && t.list.Has(d.Join(e.Name)) {
				w.copy.Files++
				w.copy.Bytes = walk.AddSizes(w.copy.Bytes, e.Size)
				w.copy.LargestFile = max(w.copy.LargestFile, e.Size)
			}
		case walk.Link:
			w.Links++
		case walk.Other:
			w.Others++
		}
	}
	if largest >= 0 {
		// Of equals the first by name, whichever worker sees it when.
		e := &d.Entries[largest]
		if p := d.Join(e.Name); e.Size > w.largest || e.Size == w.largest && p < w.largestPath {
			w.largest, w.largestPath = e.Size, p
		}
	}
	w.Files += files
	w.Bytes = walk.AddSizes(w.Bytes, bytes)
	if d.Depth == 0 || files == 0 {
		return
	}
	if w.folders == nil {
		w.folders = map[folderKey]*FolderSum{}
	}
	for at, depth := 0, 1; depth <= sumDepth; depth++ {
		next := strings.IndexByte(d.Path[at:], '/')
		p := d.Path
		if next >= 0 {
			p = d.Path[:at+next]
		}
		s := w.folders[folderKey{d.Source, p}]
		if s == nil {
			if len(w.folders) >= sumFolders {
				return
			}
			s = &FolderSum{Path: strings.Clone(p), Source: d.Source}
			w.folders[folderKey{d.Source, s.Path}] = s
		}
		s.Files += files
		s.Bytes = walk.AddSizes(s.Bytes, bytes)
		if next < 0 {
			return
		}
		at += next + 1
	}
}

// larger reports whether a comes before b as the largest file of a folder.
func larger(a, b *walk.Entry) bool {
	return a.Size > b.Size || a.Size == b.Size && a.Name < b.Name
}

// end joins the workers' sums.
func (t *Tally) end() {
	t.folders = map[folderKey]*FolderSum{}
	for i := range t.workers {
		w := &t.workers[i]
		t.Files += w.Files
		t.Folders += w.Folders
		t.Links += w.Links
		t.Others += w.Others
		t.Bytes = walk.AddSizes(t.Bytes, w.Bytes)
		t.Copy.Files += w.copy.Files
		t.Copy.Bytes = walk.AddSizes(t.Copy.Bytes, w.copy.Bytes)
		t.Copy.LargestFile = max(t.Copy.LargestFile, w.copy.LargestFile)
		if w.largest > t.LargestFile || w.largest == t.LargestFile && w.largestPath < t.LargestPath {
			t.LargestFile, t.LargestPath = w.largest, w.largestPath
		}
		for p, s := range w.folders {
			if o := t.folders[p]; o != nil {
				o.Files += s.Files
				o.Bytes = walk.AddSizes(o.Bytes, s.Bytes)
			} else {
				t.folders[p] = s
			}
		}
	}
	t.workers = nil
	if t.list == nil {
		t.Copy = CopyTotals{t.Files, t.Folders, t.Bytes, t.LargestFile}
	} else {
		t.Copy.Folders = int64(len(t.list.folders))
	}
}

// largest returns the folders that say most about where the bytes lie: the top ones, but where one
// of them holds nearly everything, those inside it.
func (t *Tally) largest(results []Result) []FolderSum {
	var under folderKey
	var level []FolderSum
	for depth := 1; depth <= sumDepth; depth++ {
		var inner []FolderSum
		for k, s := range t.folders {
			if strings.Count(k.path, "/") == depth-1 && (under.path == "" || k.source == under.source && strings.HasPrefix(k.path, under.path+"/")) {
				inner = append(inner, *s)
			}
		}
		if len(inner) == 0 {
			break
		}
		level = inner
		slices.SortFunc(level, func(a, b FolderSum) int {
			return cmp.Or(cmp.Compare(b.Bytes, a.Bytes), cmp.Compare(a.Source, b.Source), cmp.Compare(a.Path, b.Path))
		})
		if float64(level[0].Bytes) < float64(t.Bytes)*0.9 {
			break
		}
		under = folderKey{level[0].Source, level[0].Path}
	}
	level = level[:min(len(level), largestShown)]
	if len(level) == 0 {
		return level
	}
	// All of one level have as many parts, so each finding has but one that it can be in; the one before, mostly.
	depth := strings.Count(level[0].Path, "/") + 1
	for _, r := range results {
		var in *FolderSum // nil: in none of them
		var last folderKey
		for i := range r.Findings {
			f := &r.Findings[i]
			if k := (folderKey{f.Source, names.FirstParts(f.Path, depth)}); k != last {
				last, in = k, nil
				if at := slices.IndexFunc(level, func(s FolderSum) bool { return s.Source == k.source && s.Path == k.path }); at >= 0 {
					in = &level[at]
				}
			}
			if in != nil {
				in.Flagged[f.Level]++
			}
		}
	}
	return level
}

const (
	// UsualUnit is how many bytes a share allocates at a time, where that was not measured (common
	// practice, no source).
	UsualUnit = int64(4096)
	// reservePart is the part of a copy that should be left free: one in fifty (common practice, no source).
	reservePart = 50
)

// A Need is what a copy takes up on a share. Hard links count each and sparse files in full, since that is
// how they arrive.
type Need struct {
	Bytes   int64 // in whole allocation units
	Inodes  int64 // one for each file and folder
	Largest int64 // bytes of the largest file
}

// RoundUp returns a size in whole allocation units.
func RoundUp(n, unit int64) int64 {
	if rest := n % unit; rest > 0 {
		return walk.AddSizes(n, unit-rest)
	}
	return n
}

// Reserve is 2 % of the copy, rounded up.
func (n Need) Reserve() int64 { return (n.Bytes-1)/reservePart + min(n.Bytes, 1) }

// Margin is what should be left free once the copy is done: 2 % of it, and room for a second try of its
// largest file.
func (n Need) Margin() int64 { return max(n.Reserve(), n.Largest) }

// Room is the capacity to ask for: the copy and its margin.
func (n Need) Room() int64 { return walk.AddSizes(n.Bytes, n.Margin()) }
