package media

import (
	"bytes"
	"fmt"
	"os"
	"path"
	"path/filepath"
	"strings"
	"testing"
)

// folderKind is what the clips of each folder are.
var folderKind = map[string]Kind{
	"iso": ISO, "wav": Wave, "avi": AVI, "aiff": AIFF, "mxf": MXF, "mkv": Matroska, "ts": Transport, "jpeg": JPEG, "png": PNG,
}

// readSamples returns the clips in testdata/samples by folder and name. They are made by ffmpeg; see
// TestRecord.
func readSamples(t testing.TB) map[string][]byte {
	t.Helper()
	files := map[string][]byte{}
	found, err := filepath.Glob("testdata/samples/*/*")
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range found {
		b, err := os.ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		f = filepath.ToSlash(f)
		files[path.Join(path.Base(path.Dir(f)), path.Base(f))] = b
	}
	if len(files) < 25 {
		t.Fatalf("only %d samples", len(files))
	}
	return files
}

func judgeBytes(b []byte) (Verdict, error) { return Judge(bytes.NewReader(b), int64(len(b)), "") }

func TestSamplesAreWhole(t *testing.T) {
	for name, b := range readSamples(t) {
		v, err := judgeBytes(b)
		if want := (Verdict{Kind: folderKind[path.Dir(name)]}); err != nil || v != want {
			t.Errorf("%s: %+v, %v", name, v, err)
		}
	}
}

// TestSamplesCut holds against what ffprobe, the demuxer of a generic player, said about each cut: where
// it complained, there must be a flag, unless no structure can know.
func TestSamplesCut(t *testing.T) {
	files := readSamples(t)
	record, err := os.ReadFile("testdata/samples/cuts.txt")
	if err != nil {
		t.Fatal(err)
	}
	cuts, flagged := 0, 0
	for line := range strings.Lines(string(record)) {
		var name, word string
		var n int
		if _, err := fmt.Sscan(line, &name, &n, &word); err != nil || files[name] == nil || n >= len(files[name]) {
			t.Fatalf("cuts.txt: %q: %v", line, err)
		}
		v, err := judgeBytes(files[name][:n])
		if err != nil || v.Partly {
			t.Errorf("%s at %d: %+v, %v", name, n, v, err)
		}
		cuts++
		if v.Problem != "" {
			flagged++
		} else if word == "complains" && !strings.Contains(line, " unknowable ") {
			t.Errorf("%s at %d of %d: a player complains, but %+v", name, n, len(files[name]), v)
		}
	}
	t.Logf("%d cuts, %d flagged", cuts, flagged)
	if cuts < 1500 || flagged < cuts*9/10 {
		t.Errorf("only %d cuts, %d of them flagged", cuts, flagged)
	}
}

// BenchmarkJudge measures a look at a clip on disk, the pages warm, and at a file that is none.
func BenchmarkJudge(b *testing.B) {
	files := readSamples(b)
	files["other/noise"] = noise(50_000)
	for _, name := range []string{
		"iso/index_last.mp4", "iso/fragments.mp4", "wav/plain.wav", "avi/mpeg4.avi", "aiff/plain.aiff", "mxf/op1a.mxf", "mkv/vp8.webm", "mkv/live.mkv",
		"ts/h264.ts", "jpeg/baseline.jpg", "png/plain.png", "other/noise",
	} {
		file := filepath.Join(b.TempDir(), "clip")
		if err := os.WriteFile(file, files[name], 0o600); err != nil {
			b.Fatal(err)
		}
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				f, err := os.Open(file)
				if err != nil {
					b.Fatal(err)
				}
				if _, err := Judge(f, int64(len(files[name])), ""); err != nil {
					b.Fatal(err)
				}
				f.Close()
			}
		})
	}
}
