//go:build clipsall

package media

import (
	"bytes"
	"encoding/binary"
	"errors"
	"flag"
	"fmt"
	"hash/fnv"
	"math/rand/v2"
	"os"
	"os/exec"
	"path"
	"path/filepath"
	"regexp"
	"runtime"
	"slices"
	"strings"
	"sync"
	"testing"
)

var (
	clipsDir = flag.String("clips", "", "keep the corpus in this `folder` (default: one that is removed)")
	cutsEach = flag.Int("cuts", 200, "cuts of each file")
	askEvery = flag.Int("ask", 50, "ask the player about one in so many of the cuts that are flagged, and about all others")
	only     = flag.String("only", "", "cut only files whose names match this `pattern`")
)

// corpus returns the folder that holds, or will hold, the files of the recipes.
func corpus(t *testing.T) string {
	if *clipsDir == "" {
		return t.TempDir()
	}
	dir, err := filepath.Abs(*clipsDir)
	if err != nil {
		t.Fatal(err)
	}
	return dir
}

// TestWhole: no whole file is flagged, in any container with its usual flags.
func TestWhole(t *testing.T) {
	dir := corpus(t)
	var tally Tally
	for _, r := range recipes() {
		file, err := r.make(dir)
		if err != nil {
			t.Error(err)
			continue
		}
		v, err := judgeFile(file)
		if err != nil || v.Problem != "" || v.Kind != folderKind[path.Dir(r.name)] || v.Partly {
			t.Errorf("%s: %+v, %v", r.name, v, err)
		}
		tally.Add(v)
	}
	t.Logf("%d whole clips: %s", tally.Clips(), &tally)
	if tally.Clips() < 300 {
		t.Errorf("only %d files were made; 300 is the least", tally.Clips())
	}
}

// A player is what ffprobe, the demuxer of a generic player, says about a file.
type player struct {
	unusable bool            // it refuses the file, or finds nothing in it
	says     map[string]bool // warnings and errors, numbers left out
}

var (
	numbers = regexp.MustCompile(`0x[0-9a-f]+|[0-9]+`)
	// What ffprobe says about files that are merely short, or guesses.
	idle = regexp.MustCompile(`misdetection possible|Estimating duration|Consider increasing|Could not find codec parameters|start time for stream|` +
		`no TS found at start|not enough frames to estimate|Multiple frames in a packet|max_analyze_duration|Last message repeated|Skipped opening external`)
)

func ask(file string, kind Kind) (player, error) {
	args := []string{"-hide_banner", "-v", "warning", "-show_entries", "packet=flags", "-of", "csv=p=0"}
	if kind == JPEG || kind == PNG {
		args[4] = "packet=flags:frame=pict_type" // there is nothing to demux: the decoder speaks
	}
	var out, messages bytes.Buffer
	cmd := exec.Command("ffprobe", append(args, file)...)
	cmd.Stdout, cmd.Stderr = &out, &messages
	err := cmd.Run()
	var exit *exec.ExitError
	if err != nil && !errors.As(err, &exit) {
		return player{}, err
	}
	p := player{unusable: err != nil || out.Len() == 0, says: map[string]bool{}}
	for line := range strings.Lines(strings.ReplaceAll(messages.String(), file, "FILE")) {
		line = strings.TrimSpace(numbers.ReplaceAllString(line, "#"))
		if line != "" && !idle.MatchString(line) {
			p.says[line] = true
		}
	}
	return p, nil
}

// complains says what a player says about a cut file that it does not say about the whole one.
func (p player) complains(whole player) string {
	if p.unusable && !whole.unusable {
		return "unusable"
	}
	for m := range p.says {
		if !whole.says[m] {
			return m
		}
	}
	return ""
}

// offsets returns where a file of size bytes is cut: always the same places for one name.
func offsets(name string, size int64, n int) []int64 {
	h := fnv.New64a()
	h.Write([]byte(name))
	r := rand.New(rand.NewPCG(h.Sum64(), 1))
	cuts := make([]int64, n)
	for i := range cuts {
		cuts[i] = 1 + r.Int64N(size-1)
	}
	slices.Sort(cuts)
	return cuts
}

// figures say how the cuts of one kind went. The player is asked about each cut that is not flagged, and
// about some that are: starting it takes most of the time.
type figures struct {
	cuts, flagged   int
	asked, agreed   int            // of those flagged: how often the player was asked, and complained as well
	silent          int            // not flagged, and the player has nothing to say either
	excused, missed int            // not flagged though the player complains: the structure cannot know it, or should
	why             map[string]int // the excuses
}

func (f *figures) add(o figures) {
	f.cuts += o.cuts
	f.flagged += o.flagged
	f.asked += o.asked
	f.agreed += o.agreed
	f.silent += o.silent
	f.excused += o.excused
	f.missed += o.missed
	for w, n := range o.why {
		f.why[w] += n
	}
}

// excuse says why no structure can tell that a file of this kind was cut at n, or "". It looks at the
// whole file with means of its own, and never asks Judge.
func excuse(name string, whole []byte, n int64) string {
	kind := path.Dir(name)
	if n < Smallest {
		return "under 12 bytes"
	}
	switch kind {
	case "iso":
		// Boxes anew, as simply as can be: a cut at most four bytes behind a box, with an index before it.
		if !bytes.Contains(whole[:n], []byte("moov")) && !bytes.Contains(whole[:n], []byte("moof")) {
			return ""
		}
		for at := int64(0); at+8 <= int64(len(whole)); {
			size := int64(binary.BigEndian.Uint32(whole[at:]))
			if size == 1 {
				size = int64(binary.BigEndian.Uint64(whole[at+8:]))
			}
			if at += max(size, 8); n < at || n > at+4 {
				continue
			}
			if bytes.Contains(whole, []byte("moof")) {
				return "MP4 or QuickTime: cut between fragments"
			}
			return "MP4 or QuickTime: cut right behind an index that comes first, as a movie ends whose media are other files"
		}
	case "ts":
		step, offset := int64(188), int64(0)
		switch {
		case whole[0] != syncByte:
			step, offset = 192, 4
		case len(whole) > 204 && whole[188] != syncByte:
			step = 204
		}
		switch {
		case n < (minPacket+1)*step:
			return "transport stream: fewer than six packets are left"
		case n%step <= offset:
			return "transport stream: cut between packets"
		}
	case "wav":
		if at := bytes.Index(whole, []byte("data\xff\xff\xff\xff")); at >= 0 && n >= int64(at)+8 && whole[3] == 'F' {
			return "WAV from a pipe: no length is written anywhere"
		}
	}
	return ""
}

// TestCuts cuts every file at random places, asks a player about each, and expects a flag wherever the
// player finds it truncated or unusable.
func TestCuts(t *testing.T) {
	dir := corpus(t)
	pattern := regexp.MustCompile(*only)
	var mu sync.Mutex
	byKind := map[string]*figures{}
	misses := map[string]int{}
	queue := make(chan recipe)
	var wg sync.WaitGroup
	for range runtime.NumCPU() {
		wg.Go(func() {
			for r := range queue {
				f, missed, err := cutAll(r, dir)
				mu.Lock()
				if err != nil {
					t.Error(err)
				}
				kind := path.Dir(r.name)
				if byKind[kind] == nil {
					byKind[kind] = &figures{why: map[string]int{}}
				}
				byKind[kind].add(f)
				for _, m := range missed {
					misses[m]++
				}
				mu.Unlock()
			}
		})
	}
	files := 0
	for _, r := range recipes() {
		if pattern.MatchString(r.name) {
			files++
			queue <- r
		}
	}
	close(queue)
	wg.Wait()

	total := figures{why: map[string]int{}}
	for _, k := range slices.Sorted(func(yield func(string) bool) {
		for k := range byKind {
			if !yield(k) {
				return
			}
		}
	}) {
		t.Logf("%-5s %s", k, byKind[k])
		total.add(*byKind[k])
	}
	t.Logf("all   %s of %d files", &total, files)
	for w, n := range total.why {
		t.Logf("excused %6d: %s", n, w)
	}
	for m, n := range misses {
		t.Errorf("missed %d: %s", n, m)
	}
}

func (f *figures) String() string {
	return fmt.Sprintf("%6d cuts, %6d flagged (of %d asked about, the player complains about %d); %5d not: the player is content with %d, %d excused, %d missed",
		f.cuts, f.flagged, f.asked, f.agreed, f.cuts-f.flagged, f.silent, f.excused, f.missed)
}

func cutAll(r recipe, dir string) (f figures, missed []string, err error) {
	f.why = map[string]int{}
	file, err := r.make(dir)
	if err != nil {
		return f, nil, err
	}
	whole, err := os.ReadFile(file)
	if err != nil {
		return f, nil, err
	}
	kind := folderKind[path.Dir(r.name)]
	before, err := ask(file, kind)
	if err != nil {
		return f, nil, err
	}
	scratch, err := os.MkdirTemp("", "cut")
	if err != nil {
		return f, nil, err
	}
	defer os.RemoveAll(scratch)
	cut := filepath.Join(scratch, "cut"+filepath.Ext(file))
	if err := os.WriteFile(cut, whole, 0o600); err != nil {
		return f, nil, err
	}
	for _, n := range slices.Backward(offsets(r.name, int64(len(whole)), *cutsEach)) {
		if err := os.Truncate(cut, n); err != nil {
			return f, nil, err
		}
		v, err := judgeFile(cut)
		if err != nil {
			return f, nil, err
		}
		f.cuts++
		flagged := v.Problem != ""
		if flagged {
			if f.flagged++; *askEvery < 1 || f.flagged%*askEvery != 0 {
				continue
			}
			f.asked++
		}
		after, err := ask(cut, kind)
		if err != nil {
			return f, nil, err
		}
		told := after.complains(before)
		switch {
		case flagged && told != "":
			f.agreed++
		case flagged:
		case told == "":
			f.silent++
		default:
			if why := excuse(r.name, whole, n); why != "" {
				f.excused++
				f.why[why]++
				continue
			}
			f.missed++
			missed = append(missed, fmt.Sprintf("%s at %d of %d (%s): %s", r.name, n, len(whole), v.Kind, told))
		}
	}
	return f, missed, nil
}

func judgeFile(file string) (Verdict, error) {
	f, err := os.Open(file)
	if err != nil {
		return Verdict{}, err
	}
	defer f.Close()
	st, err := f.Stat()
	if err != nil {
		return Verdict{}, err
	}
	return Judge(f, st.Size(), file)
}
