//go:build clipsall

package media

import (
	"errors"
	"flag"
	"fmt"
	"os"
	"path"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"sync"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// cutsOfSample is how often each clip of testdata/samples is cut: 2 in 100 of all cuts of the corpus.
const cutsOfSample = 55

var update = flag.Bool("update", false, "make the samples in testdata anew, and ask the player about their cuts")

const (
	tinyPicture = lavfi + "color=teal:s=32x32:r=10:d=0.4 "
	tinySound   = lavfi + "sine=d=0.1:r=8000 "
)

// samples are the tiny clips in testdata, one or more a container.
func samples() []recipe {
	const h264 = "-c:v libx264 -g 2 -preset ultrafast -bsf:v filter_units=remove_types=6 "
	return []recipe{
		{"iso/index_last.mp4", tinyPicture + tinySound + h264 + "-c:a aac -b:a 8k"},
		{"iso/index_first.mp4", tinyPicture + h264 + "-movflags +faststart"},
		{"iso/fragments.mp4", tinyPicture + h264 + "-movflags frag_keyframe+empty_moov"},
		{"iso/fragments_no_trailer.mp4", tinyPicture + h264 + "-movflags frag_keyframe+empty_moov+skip_trailer"},
		{"iso/dash.mp4", tinyPicture + h264 + "-movflags dash+frag_keyframe+empty_moov"},
		{"iso/reserved.mov", tinyPicture + "-c:v mpeg4 -moov_size 1500"},
		{"iso/timecode.mov", tinyPicture + tinySound + "-c:v mpeg4 -c:a pcm_s16le -timecode 01:00:00:00"},
		{"iso/alac.m4a", tinySound + "-c:a alac"},
		{"iso/still.avif", tinyPicture + "-c:v libaom-av1 -still-picture 1 -frames:v 1 -cpu-used 8"},
		{"wav/plain.wav", tinySound + "-c:a pcm_s16le"},
		{"wav/odd.wav", lavfi + "sine=d=0.100125:r=8000 -c:a pcm_u8 -metadata title=Low"},
		{"wav/bext.wav", tinySound + "-c:a pcm_s24le -write_bext 1 -metadata description=Tides"},
		{"wav/rf64.wav", tinySound + "-c:a pcm_s16le -rf64 always"},
		{"wav/pipe.wav", "|ffmpeg -v error " + tinySound + "-f wav - | cat >$o"},
		{"avi/mpeg4.avi", tinyPicture + tinySound + "-c:v mpeg4 -c:a pcm_u8"},
		{"avi/silent.avi", tinyPicture + "-c:v mjpeg"},
		{"aiff/plain.aiff", tinySound + "-c:a pcm_s16be"},
		{"aiff/alaw.aifc", tinySound + "-c:a pcm_alaw -f aiff"},
		{"mxf/op1a.mxf", tinyPicture + "-r 25 -c:v mpeg2video"},
		{"mxf/atom.mxf", lavfi + "sine=d=0.04:r=48000 -c:a pcm_s16le -f mxf_opatom"},
		{"mkv/vp8.webm", tinyPicture + "-c:v libvpx -deadline realtime -cpu-used 8"},
		{"mkv/live.mkv", tinyPicture + h264 + "-live 1 -cluster_time_limit 100"},
		{"mkv/pipe.mkv", "|ffmpeg -v error " + tinyPicture + h264 + "-f matroska - | cat >$o"},
		{"mkv/flac.mka", tinySound + "-c:a flac"},
		{"ts/h264.ts", tinyPicture + h264},
		{"ts/stamps.m2ts", tinyPicture + h264},
		{"jpeg/baseline.jpg", lavfi + "testsrc2=s=32x32 -frames:v 1"},
		{"jpeg/progressive.jpg", "|ffmpeg -v error -y " + lavfi + "testsrc2=s=32x32 -frames:v 1 -update 1 p.ppm && cjpeg -progressive p.ppm >$o; rm p.ppm"},
		{"png/plain.png", lavfi + "testsrc2=s=32x32 -frames:v 1"},
		{"png/moving.apng", tinyPicture + "-f apng"},
	}
}

// TestRecord writes testdata/samples and what the player says about their cuts, when asked to:
//
//	go test -tags clipsall ./checks/media -run Record -update
//
// Otherwise it checks that the player still says what was written down.
func TestRecord(t *testing.T) {
	dir := filepath.Join("testdata", "samples")
	if *update {
		if err := os.RemoveAll(dir); err != nil {
			t.Fatal(err)
		}
	}
	var wg sync.WaitGroup
	list := samples()
	words, errs := make([]string, len(list)), make([]error, len(list))
	turn := make(chan bool, 2*runtime.NumCPU())
	for i, r := range list {
		wg.Go(func() {
			turn <- true
			defer func() { <-turn }()
			words[i], errs[i] = askAboutCuts(r, dir, t.TempDir())
		})
	}
	wg.Wait()
	if err := errors.Join(errs...); err != nil {
		t.Fatal(err)
	}
	record := strings.Join(words, "")
	file := filepath.Join(dir, "cuts.txt")
	if *update {
		if err := os.WriteFile(file, []byte(record), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	want, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(strings.Split(string(want), "\n"), strings.Split(record, "\n")); d != "" {
		t.Errorf("this player says other things than the one that was asked for %s\n%s", file, d)
	}
}

// askAboutCuts returns a line for each cut of the sample of r: what the player says.
func askAboutCuts(r recipe, dir, scratch string) (string, error) {
	file := filepath.Join(dir, filepath.FromSlash(r.name))
	if *update {
		var err error
		if file, err = r.make(dir); err != nil {
			return "", err
		}
	}
	whole, err := os.ReadFile(file)
	if err != nil {
		return "", err
	}
	kind := folderKind[path.Dir(r.name)]
	before, err := ask(file, kind)
	if err != nil {
		return "", err
	}
	var lines strings.Builder
	cut := filepath.Join(scratch, "cut"+filepath.Ext(file))
	for _, n := range slices.Compact(offsets(r.name, int64(len(whole)), cutsOfSample)) {
		if err := os.WriteFile(cut, whole[:n], 0o600); err != nil {
			return "", err
		}
		after, err := ask(cut, kind)
		if err != nil {
			return "", err
		}
		word := "content"
		if after.complains(before) != "" {
			word = "complains"
			if why := excuse(r.name, whole, n); why != "" {
				word += " unknowable " + why
			}
		}
		fmt.Fprintln(&lines, r.name, n, word)
	}
	return lines.String(), nil
}
