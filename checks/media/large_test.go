//go:build clipsall

package media

import (
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// large are files beyond the limits of 32-bit sizes. ffmpeg makes them of nothing but zeros, or nearly,
// and what is zero is then given back to the disk.
var large = []struct {
	recipe
	kind Kind
	over int64 // bytes that it must at least have
}{
	{recipe{"large/auto.wav", lavfi + "anullsrc=r=192000:cl=7.1 -t 700 -c:a pcm_s32le -rf64 auto"}, Wave, 1 << 32},
	{recipe{"large/always.wav", lavfi + "anullsrc=r=192000:cl=7.1 -t 700 -c:a pcm_s32le -rf64 always"}, Wave, 1 << 32},
	{recipe{"large/opendml.avi", lavfi + "color=black:s=1920x1080:r=25 -frames:v 400 -c:v rawvideo -pix_fmt bgr24"}, AVI, 1 << 31},
	{recipe{"large/last.mov", lavfi + "anullsrc=r=192000:cl=7.1 -t 700 -c:a pcm_s32le"}, ISO, 1 << 32},
	{recipe{"large/sound.mkv", lavfi + "anullsrc=r=192000:cl=7.1 -t 700 -c:a pcm_s32le"}, Matroska, 1 << 32},
	{recipe{"large/sound.mxf", lavfi + "anullsrc=r=48000:cl=mono -t 23000 -c:a pcm_s16le -f mxf_opatom"}, MXF, 1 << 31},
}

// TestLarge: whole files of several gigabytes are not flagged, and each of them is wherever it is cut.
func TestLarge(t *testing.T) {
	dir := corpus(t)
	for _, l := range large {
		t.Run(filepath.Base(l.name), func(t *testing.T) {
			file, err := l.make(dir)
			if err != nil {
				t.Fatal(err)
			}
			defer os.Remove(file) // it is cut to pieces
			if out, err := exec.Command("fallocate", "--dig-holes", file).CombinedOutput(); err != nil {
				t.Fatalf("%v\n%s", err, out)
			}
			st, err := os.Stat(file)
			if err != nil {
				t.Fatal(err)
			}
			if st.Size() < l.over {
				t.Errorf("%d bytes are not large", st.Size())
			}
			if v, err := judgeFile(file); err != nil || v != (Verdict{Kind: l.kind}) {
				t.Errorf("whole: %+v, %v", v, err)
			}
			r := rand.New(rand.NewPCG(1, 1))
			cuts := make([]int64, 200)
			for i := range cuts {
				cuts[i] = Smallest + r.Int64N(st.Size()-Smallest)
			}
			slices.Sort(cuts)
			for _, n := range slices.Backward(cuts) {
				if err := os.Truncate(file, n); err != nil {
					t.Fatal(err)
				}
				if v, err := judgeFile(file); err != nil || v.Problem != CutShort || v.Kind != l.kind || strings.Contains(v.Detail, "says") && v.Missing <= 0 {
					t.Errorf("cut at %d of %d: %+v, %v", n, st.Size(), v, err)
				}
			}
		})
	}
}
