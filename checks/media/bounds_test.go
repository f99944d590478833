package media

import (
	"bytes"
	"errors"
	"io"
	"math"
	"testing"
)

// A counter is a file in memory that counts how it is read.
type counter struct {
	b     []byte
	reads int
	bytes int64
}

func (c *counter) ReadAt(p []byte, off int64) (int, error) {
	c.reads++
	n, err := bytes.NewReader(c.b).ReadAt(p, off)
	c.bytes += int64(n)
	return n, err
}

// An endless file begins with head and goes on with part over and over.
type endless struct {
	head, part []byte
	reads      int
	bytes      int64
}

func (e *endless) ReadAt(p []byte, off int64) (int, error) {
	e.reads++
	e.bytes += int64(len(p))
	n := 0
	if off < int64(len(e.head)) {
		n = copy(p, e.head[off:])
	}
	for n < len(p) {
		at := (off + int64(n) - int64(len(e.head))) % int64(len(e.part))
		n += copy(p[n:], e.part[at:])
	}
	return n, nil
}

// TestHostile: no file takes more reads or bytes than promised, whatever its lengths say.
func TestHostile(t *testing.T) {
	segment := cat(ebml, live(idSegment, tracks))
	for _, c := range []struct {
		name       string
		head, part []byte
		partly     bool
	}{
		{"tiny boxes", cat(ftyp, moov), sized(8, "free"), true},
		{"zero sizes", cat(ftyp, moov), zeros(8), false},
		{"boxes of no size", ftyp, sized(0, "mdat"), false},
		{"fragments", cat(ftyp, moov), frag, true},
		{"fragments far apart", cat(ftyp, moov), cat(moof, box("mdat", noise(200_000))), true},
		{"boxes in boxes", ftyp, sized(math.MaxUint32-7, "moov"), true},
		{"longest boxes", ftyp, bigBox("moov", math.MaxUint64), false},
		{"tiny chunks", text("RIFF\xFF\xFF\xFF\xFFWAVE"), claim("LIST", 0), true},
		{"chunks in AVI", text("RIFF\xFF\xFF\xFF\xFFAVI "), claim("JUNK", 0), true},
		{"RIFFs without end", avi, more, true},
		{"chunks in AIFF", text("FORM\xFF\xFF\xFF\xFFAIFF"), claim("NAME", 0), true},
		{"tiny KLVs", partition(2, complete, 0), essence(0), true},
		{"tiny elements", segment, el(0xEC), true},
		{"clusters", segment, live(idCluster), true},
		{"segments in segments", ebml, live(idSegment), true},
		{"markers", []byte{0xFF, 0xD8, 0xFF, 0xE0, 0, 2}, []byte{0xFF, 0xE0, 0, 2}, true},
		{"fill", []byte{0xFF, 0xD8, 0xFF, 0xE0, 0, 2}, []byte{0xFF}, true},
		{"no end of a picture", cat(jfif, scan1), noise(4096), true},
		{"tiny chunks in PNG", cat(text(pngSignature), ihdr), cat(sized(0, "IDAT"), zeros(4)), true},
		{"packets", packets(30, 0, 0), packets(1, 0, 0), false},
	} {
		t.Run(c.name, func(t *testing.T) {
			many := bytes.Repeat(c.part, 1+10_000/len(c.part))
			for _, size := range []int64{1 << 20, math.MaxInt64} {
				r := &endless{head: c.head, part: many}
				v, err := Judge(r, size, "a.mxf")
				if err != nil || v.Kind == Other {
					t.Errorf("%d bytes: %+v, %v", size, v, err)
				}
				if size == math.MaxInt64 && v.Partly != c.partly {
					t.Errorf("%+v; want partly %v", v, c.partly)
				}
				if r.reads > maxReads || r.bytes > maxBytes {
					t.Errorf("%d bytes: %d reads of %d bytes", size, r.reads, r.bytes)
				}
			}
		})
	}
}

// TestMillionBoxes: what is small and many is read in few and large reads.
func TestMillionBoxes(t *testing.T) {
	r := &counter{b: cat(ftyp, bytes.Repeat(sized(8, "free"), 1_000_000), mdat, moov)}
	v, err := Judge(r, int64(len(r.b)), "")
	if err != nil || v.Problem != "" || v.Kind != ISO || v.Partly || r.reads > 200 {
		t.Errorf("%+v, %v after %d reads", v, err, r.reads)
	}
}

// TestUsualReads: the number of reads of usual clips of 8 GB.
func TestUsualReads(t *testing.T) {
	for _, c := range []struct {
		name       string
		head, tail []byte
		most       int
	}{
		{"mp4", cat(ftyp, bigBox("mdat", 8e9-16)), moov, 2},
		{"mp4, index first", cat(ftyp, moov, bigBox("mdat", 8e9-16)), nil, 1},
		{"mov", cat(ftyp, sized(8, "wide"), bigBox("mdat", 8e9-16)), cat(moov, box("free", zeros(9000))), 3},
		{"mxf", cat(partition(2, complete, 8e9), essence(9000)), closedMXF(complete, false)[2128:], 2},
		{"mkv", cat(ebml, elSized(idSegment, 1<<56|8_000_000_000, tracks, cluster)), nil, 1},
		{"ts", nil, nil, 2},
	} {
		t.Run(c.name, func(t *testing.T) {
			size := int64(8e9) + int64(len(c.tail))
			if c.tail != nil || c.name == "mkv" {
				size += int64(len(c.head))
			}
			f := &sparse{head: c.head, tail: c.tail, size: size, fill: 0x93}
			switch c.name {
			case "mp4", "mov":
				f.size = int64(len(c.head)) - 16 + 8e9 - 16 + int64(len(c.tail))
			case "mp4, index first":
				f.size = int64(len(c.head)) - 16 + 8e9 - 16
			case "mxf":
				f.size = 8e9 + int64(len(c.tail))
			case "ts":
				f.head, f.tail = packets(30, 0, 0), packets(30, 0, 0)
				f.size = 8e9 / 188 * 188
			}
			v, err := Judge(f, f.size, "")
			if err != nil || v.Problem != "" || v.Kind == Other || v.Partly || f.reads > c.most {
				t.Errorf("%+v, %v after %d reads, want at most %d", v, err, f.reads, c.most)
			}
		})
	}
	f := &sparse{size: 8e9, fill: 0x93}
	if v, err := Judge(f, f.size, "a.bin"); err != nil || v.Kind != Other || f.reads != 1 || f.bytes != firstRead {
		t.Errorf("no clip: %+v, %v after %d reads of %d bytes", v, err, f.reads, f.bytes)
	}
}

// A sparse file has a head, a tail, and one byte all the way between.
type sparse struct {
	head, tail []byte
	size       int64
	fill       byte
	reads      int
	bytes      int64
}

func (f *sparse) ReadAt(p []byte, off int64) (int, error) {
	f.reads++
	f.bytes += int64(len(p))
	for i := range p {
		at := off + int64(i)
		switch back := at - (f.size - int64(len(f.tail))); {
		case at >= f.size:
			return i, io.EOF
		case back >= 0:
			p[i] = f.tail[back]
		case at < int64(len(f.head)):
			p[i] = f.head[at]
		default:
			p[i] = f.fill
		}
	}
	return len(p), nil
}

// TestTrouble: what fails below comes back as it is, and a file that shrinks is reported as such.
func TestTrouble(t *testing.T) {
	file := cat(ftyp, box("mdat", noise(20_000)), moov)
	broken := errors.New("input/output error")
	for _, c := range []struct {
		name string
		r    io.ReaderAt
		want error
	}{
		{"cannot be read", failing{0, file, broken}, broken},
		{"cannot be read further on", failing{9000, file, broken}, broken},
		{"shrank to nothing", bytes.NewReader(nil), ErrShrank},
		{"shrank", bytes.NewReader(file[:10_000]), ErrShrank},
	} {
		t.Run(c.name, func(t *testing.T) {
			v, err := Judge(c.r, int64(len(file)), "")
			if !errors.Is(err, c.want) || v.Problem != "" || v.Partly {
				t.Errorf("%+v, %v; want %v", v, err, c.want)
			}
		})
	}
}

type failing struct {
	from int64
	b    []byte
	err  error
}

func (f failing) ReadAt(p []byte, off int64) (int, error) {
	if off+int64(len(p)) > f.from && off >= f.from {
		return 0, f.err
	}
	return bytes.NewReader(f.b).ReadAt(p, off)
}

func TestTally(t *testing.T) {
	var a Tally
	if got := a.String(); got != "none" {
		t.Error(got)
	}
	for range 1204 {
		a.Add(Verdict{Kind: ISO})
	}
	var b Tally
	for _, v := range []Verdict{{Kind: Wave, Partly: true}, {}} {
		a.Add(v)
		b.Add(v)
	}
	if got := b.String(); got != "1 WAV" {
		t.Error(got)
	}
	a.Add(Verdict{Kind: PNG})
	if got, want := a.String(), "1,204 MP4 or QuickTime, 1 WAV and 1 PNG"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
	if a.Clips() != 1206 || a.NotJudged() != 1 {
		t.Errorf("%d clips, %d not judged", a.Clips(), a.NotJudged())
	}
}

// TestAllocations: a whole clip costs no memory that is not reused.
func TestAllocations(t *testing.T) {
	for _, b := range [][]byte{cat(ftyp, mdat, moov), wav, avi, aiff, mkv, jpeg, png, packets(40, 0, 0), noise(5000)} {
		r := bytes.NewReader(b)
		n := testing.AllocsPerRun(100, func() {
			if v, err := Judge(r, int64(len(b)), "a"); err != nil || v.Problem != "" {
				t.Fatal(v, err)
			}
		})
		if n > 4 {
			t.Errorf("%v allocations for %.12q", n, b)
		}
	}
}
