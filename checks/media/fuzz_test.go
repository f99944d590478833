package media

import (
	"path"
	"strings"
	"testing"
)

// Each container has a target of its own, fed with samples and structures of its kind. Whatever the
// bytes: no panic, a verdict that agrees with itself, the promised bounds, the same answer twice, and
// no other answer for what the rule speaks of when nothing but the name changes.
func fuzz(f *testing.F, folder string, more ...[]byte) {
	for name, b := range readSamples(f) {
		if path.Dir(name) == folder {
			f.Add(b)
			f.Add(b[:len(b)/2])
		}
	}
	for _, b := range more {
		f.Add(b)
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		r := &counter{b: b}
		v, err := Judge(r, int64(len(b)), "")
		if err != nil {
			t.Fatal(err)
		}
		if r.reads > maxReads || r.bytes > maxBytes {
			t.Errorf("%d reads of %d bytes", r.reads, r.bytes)
		}
		if (v.Problem == "") != (v.Detail == "") || v.Missing < 0 || v.Problem == "" && v.Missing != 0 || v.Kind == Other && v.Problem != "" || v.Kind >= kinds {
			t.Errorf("%+v does not agree with itself", v)
		}
		if strings.ContainsFunc(v.Detail, func(c rune) bool { return c < ' ' || c > '~' }) {
			t.Errorf("the detail holds bytes of the file: %q", v.Detail)
		}
		if again, err := Judge(r, int64(len(b)), ""); again != v || err != nil {
			t.Errorf("%+v, then %+v, %v", v, again, err)
		}
		if named, err := Judge(r, int64(len(b)), "a.MXF"); err != nil || named != v && v.Kind != Other {
			t.Errorf("%+v, under another name %+v, %v", v, named, err)
		}
		// As much again in a file that has lost it: never a panic, never a verdict.
		if v, err := Judge(r, 2*int64(len(b)), ""); err == nil && v.Problem == "" && v.Kind == ISO && len(b) < firstRead && 2*len(b) < firstRead {
			t.Errorf("a file that shrank gave %+v", v)
		}
	})
}

func FuzzISO(f *testing.F) {
	fuzz(f, "iso", cat(ftyp, mdat, moov), cat(ftyp, moov, frag, frag, mfra), bigBox("mdat", 1<<64-1), cat(ftyp, sized(0, "moov")))
}

func FuzzWave(f *testing.F) {
	fuzz(f, "wav", wav, cat(claim("RF64", 1<<32-1, text("WAVE"), sub("ds64", u64(1<<64-1), u64(1<<64-1), u64(1), zeros(4)), format, claim("data", 1<<32-1, noise(20)))))
}
func FuzzAVI(f *testing.F)  { fuzz(f, "avi", cat(avi, more, more)) }
func FuzzAIFF(f *testing.F) { fuzz(f, "aiff", aiff) }
func FuzzMXF(f *testing.F) {
	fuzz(f, "mxf", closedMXF(complete, true), closedMXF(1, false, indexPackOf(2128)))
}

func FuzzMatroska(f *testing.F) { fuzz(f, "mkv", mkv, cat(ebml, live(idSegment, live(idCluster)))) }

func FuzzTransport(f *testing.F) {
	fuzz(f, "ts", packets(8, 0, 0), packets(8, 4, 0), packets(8, 0, 16))
}
func FuzzJPEG(f *testing.F) { fuzz(f, "jpeg", jpeg) }
func FuzzPNG(f *testing.F)  { fuzz(f, "png", png) }
