// Package media says whether a clip is whole by its own structure: whether the lengths that its
// container declares fit into the file, and whether the part is there without which nothing plays.
// It reads headers, never pictures or sound, and judges nothing by a file's name.
//
// What it cannot see: damage inside pictures and sound, a hole in the middle, and a cut at a place
// where the container may end as well (between two packets of a transport stream, or between two
// fragments or clusters of a recording without an index).
//
// The readers are the package's own. Those for ISO base media and Matroska in public modules walk a
// tree of boxes whose number and depth nobody bounds, stop at what they do not know, read a box in
// three or four small reads (go-mp4), or refuse clusters of unknown size, which every live recording
// has (go-mkvparse). Here a clip is a flat walk over top-level headers, most of which share one read.
package media

import (
	"bytes"
	"errors"
	"io"
	"math"
	"path"
	"strings"

	"github.com/dustin/go-humanize"
)

// Smallest is the size in bytes below which no file can be a clip. Smaller files need not be opened.
const Smallest = 12

// A Kind is what a file is by its first bytes.
type Kind uint8

// Kinds of clips. Other means that the file is none of them and was not judged.
const (
	Other     Kind = iota
	ISO            // ISO base media and QuickTime: mp4, mov, m4v, m4a, 3gp, heif
	Wave           // RIFF, RF64 and BW64
	AVI            // RIFF, with OpenDML
	AIFF           // AIFF and AIFF-C
	MXF            // SMPTE ST 377-1
	Matroska       // Matroska and WebM
	Transport      // MPEG transport stream: 188, 192 or 204 bytes a packet
	JPEG
	PNG
	kinds
)

var kindNames = [kinds]string{
	"other", "MP4 or QuickTime", "WAV", "AVI", "AIFF", "MXF", "Matroska or WebM", "MPEG transport stream", "JPEG", "PNG",
}

// String returns the name that people know: "MP4 or QuickTime", "WAV"; "other" for Other.
func (k Kind) String() string {
	if k < kinds {
		return kindNames[k]
	}
	return kindNames[Other]
}

// A Problem is the ID of the rule that a clip breaks; empty if it breaks none.
type Problem string

const (
	// CutShort: the container's own structure runs past the end of the file.
	CutShort Problem = "clip-cut-short"
	// NoIndex: the part is not there without which nothing plays.
	NoIndex Problem = "clip-no-index"
)

// A Verdict is what a look at one file showed.
type Verdict struct {
	Kind    Kind
	Problem Problem
	Detail  string // what is wrong, in words that follow the name of the file; empty without a problem
	Missing int64  // bytes that the structure declares beyond the end of the file; 0 where it cannot tell
	Partly  bool   // the structure goes on for longer than a look may last: no problem up to there
}

// ErrShrank means that the file ended before the size that was given: somebody is changing it.
var ErrShrank = errors.New("the file became shorter while it was looked at")

// Judge looks at a file of size bytes. A file that is no clip costs one read of 4 KiB, a clip of a
// usual kind one to six reads, and no file more than a million headers, 16,384 reads and 32 MiB. Name serves one thing
// only: MXF may begin up to 64 KiB into a file (SMPTE ST 377-1, run-in), and so far in it is looked
// for only where the name ends in .mxf.
//
// An error is that of r or ErrShrank: nothing can be said about the file but the kind. Judge may be
// called concurrently.
func Judge(r io.ReaderAt, size int64, name string) (Verdict, error) {
	if size < Smallest {
		return Verdict{}, nil
	}
	s := newScan(r, size)
	defer s.release()
	head := s.peek(0, firstRead)
	if s.err != nil {
		return Verdict{}, s.err
	}
	kind, start := recognise(head)
	if kind == Other && strings.EqualFold(path.Ext(name), ".mxf") {
		if start = s.find(headerKey, 0, maxRunIn); start >= 0 {
			kind = MXF
		}
	}
	if s.err != nil && kind == Other {
		return Verdict{}, s.err
	}
	v := s.judge(kind, start)
	v.Kind = kind
	switch {
	case errors.Is(s.err, errTooMuch):
		return Verdict{Kind: kind, Partly: true}, nil
	case s.err != nil:
		return Verdict{Kind: kind}, s.err
	}
	return v, nil
}

func (s *scan) judge(kind Kind, start int64) Verdict {
	switch kind {
	case ISO:
		return s.iso()
	case Wave:
		return s.wave()
	case AVI:
		return s.avi()
	case AIFF:
		return s.aiff()
	case MXF:
		return s.mxf(start)
	case Matroska:
		return s.matroska()
	case Transport:
		return s.transport()
	case JPEG:
		return s.jpeg()
	case PNG:
		return s.png()
	}
	return Verdict{}
}

// recognise tells the kind of a file by its head, and where its structure starts.
func recognise(head []byte) (Kind, int64) {
	has := func(at int, s string) bool { return len(head) >= at+len(s) && string(head[at:at+len(s)]) == s }
	switch {
	case isISO(head):
		return ISO, 0
	case has(8, "WAVE") && (has(0, "RIFF") || has(0, "RIFX") || has(0, "RF64") || has(0, "BW64")):
		return Wave, 0
	case has(8, "AVI ") && has(0, "RIFF"):
		return AVI, 0
	case has(0, "FORM") && (has(8, "AIFF") || has(8, "AIFC")):
		return AIFF, 0
	case isMatroska(head):
		return Matroska, 0
	case isJPEG(head):
		return JPEG, 0
	case has(0, pngSignature):
		return PNG, 0
	}
	if at := bytes.Index(head, headerKey); at >= 0 {
		return MXF, int64(at)
	}
	if grid, ok := findGrid(head); ok {
		return Transport, int64(grid.phase)
	}
	return Other, 0
}

// cutShort is the verdict on a file that ends missing bytes too early.
func cutShort(missing uint64) Verdict {
	missing = min(missing, math.MaxInt64)
	return Verdict{
		Problem: CutShort, Missing: int64(missing),
		Detail: "ends " + humanize.Bytes(missing) + " before its own structure says",
	}
}

// cutInside is the verdict on a file that ends in the middle of a part whose length it no longer says.
func cutInside(part string) Verdict {
	return Verdict{Problem: CutShort, Detail: "ends in the middle of " + part}
}

// noIndex is the verdict on a file without the part that players need.
func noIndex(detail string) Verdict { return Verdict{Problem: NoIndex, Detail: detail} }

const neverWritten = "the index that players need was never written: the recording was not finished"

// A Tally counts files by kind, for the summary of a run.
type Tally struct {
	Files [kinds]int64
}

// Add counts one file.
func (t *Tally) Add(v Verdict) {
	t.Files[v.Kind]++
}

// Clips returns how many files were clips and looked at.
func (t *Tally) Clips() int64 {
	var n int64
	for _, of := range t.Files[Other+1:] {
		n += of
	}
	return n
}

// NotJudged returns how many files were none of the kinds.
func (t *Tally) NotJudged() int64 { return t.Files[Other] }

// String returns what was looked at, in the order of the kinds: "1,204 MP4 or QuickTime, 33 WAV and
// 2 JPEG"; "none" if there were no clips.
func (t *Tally) String() string {
	var parts []string
	for k, n := range t.Files {
		if n > 0 && Kind(k) != Other {
			parts = append(parts, humanize.Comma(n)+" "+Kind(k).String())
		}
	}
	switch n := len(parts); n {
	case 0:
		return "none"
	case 1:
		return parts[0]
	default:
		return strings.Join(parts[:n-1], ", ") + " and " + parts[n-1]
	}
}
