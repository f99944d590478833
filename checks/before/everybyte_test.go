//go:build linux

package before

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"loadline/checks"
	"loadline/checks/digest"
	"loadline/checks/internal/fixture"
	"loadline/checks/manifest"
)

// reading is a job that reads a folder and remembers what it read.
func reading(source, state string) checks.Job {
	return checks.Job{Source: source, Read: true, State: state, Now: func() time.Time { return treeNow }}
}

// everyByteOf runs the check alone.
func everyByteOf(t testing.TB, job checks.Job) *checks.Result {
	t.Helper()
	rep, err := checks.Run(t.Context(), job, []*checks.Check{everyByteReads}, nil)
	fixture.Must(t, err)
	return rep.Result(everyByteReads.ID)
}

// told lists the findings of the check, notes apart, as "rule path offset length".
func told(r *checks.Result) (list []string) {
	for _, f := range r.Findings {
		if f.Level == checks.Note || f.Rule == diskErrors {
			continue
		}
		s := f.Rule.ID + " " + f.Path
		if f.Part != nil {
			s += fmt.Sprintf(" %d %d", f.Part.Offset, f.Part.Length)
		}
		list = append(list, s)
	}
	return list
}

// archiveOf fills a folder with files of known content.
func archiveOf(t testing.TB, root string) map[string][]byte {
	t.Helper()
	files := map[string][]byte{}
	for i, size := range []int{0, 1, 4096, 5000, 700_001, 3 << 20} {
		name := fmt.Sprintf("day%d/clip %d.mov", i%2, i)
		files[name] = fixture.Noise(byte(i+1), size)
		fixture.WriteFile(t, filepath.Join(root, name), string(files[name]))
	}
	return files
}

// While nobody asked for it the check says how long it would take, and the verdict stays; asked for, it reads
// all and remembers; then it is good without reading, until something changes.
func TestReadAndRemember(t *testing.T) {
	dir, state := realTemp(t), t.TempDir()
	files := archiveOf(t, dir)
	job := reading(dir, state)
	job.Read = false
	r := everyByteOf(t, job)
	if r.Status != checks.Unknown || !r.Optional || !strings.Contains(r.Reason, "Nothing was read yet") || r.Fact("remembered").Value != nil {
		t.Errorf("not asked: %v %q", r.Status, r.Reason)
	}
	if list, _ := os.ReadDir(state); len(list) > 0 {
		t.Errorf("not asked, but something was written: %v", list)
	}
	all := int64(len(files))
	read := func(want, before int64) {
		t.Helper()
		r := everyByteOf(t, reading(dir, state))
		if r.Status != checks.Passed || r.Fact("files_read").Value != want || r.Fact("remembered").Value != before {
			t.Errorf("%v, %v read, %v remembered, %q; want %d, %d", r.Status, r.Fact("files_read").Value, r.Fact("remembered").Value, r.Reason, want, before)
		}
	}
	read(all, 0)
	read(0, all)
	if r = everyByteOf(t, job); r.Status != checks.Passed || r.Fact("remembered").Value != all {
		t.Errorf("remembered: %v %q, %v", r.Status, r.Reason, r.Fact("remembered").Value)
	}
	fixture.WriteFile(t, filepath.Join(dir, "day0/clip 2.mov"), "another take")
	if r = everyByteOf(t, job); r.Status != checks.Unknown || !r.Optional || r.Fact("remembered").Value != all-1 || !strings.Contains(r.Reason, "5 of 6 files read before") {
		t.Errorf("one changed: %v %q, %v", r.Status, r.Reason, r.Fact("remembered").Value)
	}
	read(1, all-1)
	// By another name of the folder: a bind mount is another mount of the same disk.
	if !fixture.Room(t) {
		return
	}
	elsewhere := filepath.Join(t.TempDir(), "elsewhere")
	fixture.Mount(t, elsewhere, "--bind", dir)
	dir = elsewhere
	read(0, all)
}

// A copy list says what is read.
func TestReadCopyList(t *testing.T) {
	dir := realTemp(t)
	archiveOf(t, dir)
	job := reading(dir, "")
	var err error
	job.CopyList, err = checks.ReadCopyList(strings.NewReader("day0/clip 4.mov\nday1/clip 1.mov\n"))
	fixture.Must(t, err)
	if r := everyByteOf(t, job); r.Status != checks.Passed || r.Fact("files_read").Value != int64(2) || r.Fact("bytes_read").Value != int64(700_002) {
		t.Errorf("%v, %v files, %v bytes", r.Status, r.Fact("files_read").Value, r.Fact("bytes_read").Value)
	}
}

// The lists of sha256sum, sha1sum and md5sum, in both their forms and over names with every byte, agree with
// what was read, and so do the manifests of a bag; a changed file does not. A list that turns up after the
// reading has its files read again.
func TestChecksumListsOfTools(t *testing.T) {
	dir, state := fixture.TempDir(t), t.TempDir()
	root, paths := fixture.Hostile(t)
	fixture.Command(t, root, "cp", "-R", ".", filepath.Join(dir, "h"))
	list := func(program string, args ...string) string {
		for i, p := range paths {
			if i < 300 {
				args = append(args, "./"+p)
			}
		}
		return fixture.Command(t, root, program, args...)
	}
	fixture.WriteFile(t, filepath.Join(dir, "h", "SHA256SUMS"), list("sha256sum"))
	fixture.WriteFile(t, filepath.Join(dir, "h", "list.sha1"), list("sha1sum", "--tag"))
	r := everyByteOf(t, reading(dir, state))
	if r.Status != checks.Passed || r.Fact("known_checksums").Value != int64(600) {
		t.Errorf("%v %q, %v agree: %q", r.Status, r.Reason, r.Fact("known_checksums").Value, told(r))
	}
	fixture.WriteFile(t, filepath.Join(dir, "h", "list.md5"), list("md5sum", "-b"))
	r = everyByteOf(t, reading(dir, state))
	if r.Status != checks.Passed || r.Fact("known_checksums").Value != int64(900) || r.Fact("files_read").Value != int64(301) {
		t.Errorf("%v, %v agree, %v read again", r.Status, r.Fact("known_checksums").Value, r.Fact("files_read").Value)
	}
	fixture.Flip(t, filepath.Join(dir, "h", paths[7]), 3)
	for _, again := range []bool{true, false} {
		job := reading(dir, state)
		job.Read = again
		r = everyByteOf(t, job)
		if got := told(r); r.Status != checks.Failed || len(got) != 3 || got[0] != "known-checksum-differs h/"+paths[7] {
			t.Errorf("read %v: %v %q", again, r.Status, got)
		}
	}
}

// Lists of SHA-512, of sha512sum and of a bag that has no other manifest: they are held against what is read, remembered,
// and a file that another list names need not be read again.
func TestListsOfSHA512(t *testing.T) {
	dir, state := fixture.TempDir(t), t.TempDir()
	archiveOf(t, filepath.Join(dir, "bag", "data"))
	all := fixture.Command(t, filepath.Join(dir, "bag"), "sh", "-c", "sha512sum data/day?/*")
	fixture.WriteFile(t, filepath.Join(dir, "bag", "manifest-sha512.txt"), all+strings.Repeat("0", 128)+"  data/lost\n")
	fixture.WriteFile(t, filepath.Join(dir, "bag", "bagit.txt"), "BagIt-Version: 1.0\n")
	fixture.WriteFile(t, filepath.Join(dir, "day.sha512"), "\ufeff"+fixture.Command(t, dir, "sh", "-c", "sha512sum --tag bag/data/day1/*"))
	files := int64(strings.Count(all, "\n"))
	want := []string{"known-checksum-missing bag/data/lost"}
	for run, n := range []int64{files + 3, 0} {
		r := everyByteOf(t, reading(dir, state))
		if !slices.Equal(told(r), want) || r.Fact("known_checksums").Value != files+3 || r.Fact("files_read").Value != n {
			t.Errorf("run %d: %q, %v agree, %v read", run, told(r), r.Fact("known_checksums").Value, r.Fact("files_read").Value)
		}
	}
	fixture.WriteFile(t, filepath.Join(dir, "later.sha512"), fixture.Command(t, dir, "sha512sum", "bag/bagit.txt"))
	if r := everyByteOf(t, reading(dir, state)); r.Fact("files_read").Value != int64(2) || r.Fact("known_checksums").Value != files+4 {
		t.Errorf("a list that turns up later: %v read, %v agree", r.Fact("files_read").Value, r.Fact("known_checksums").Value)
	}
	fixture.Flip(t, filepath.Join(dir, "bag/data/day1/clip 5.mov"), 3)
	want = []string{"known-checksum-differs bag/data/day1/clip 5.mov", "known-checksum-differs bag/data/day1/clip 5.mov", want[0]}
	for _, again := range []bool{true, false} {
		job := reading(dir, state)
		job.Read = again
		got := told(everyByteOf(t, job))
		if !again {
			got = append(got, want[2]) // that costs a look at every file
		}
		if !slices.Equal(got, want) {
			t.Errorf("read %v: %q", again, got)
		}
	}
}

// What is named like a list and is none is told: nothing was held against it.
func TestListsThatAreNone(t *testing.T) {
	dir := fixture.TempDir(t)
	fixture.WriteFile(t, filepath.Join(dir, "wide.md5"), "\xff\xfed\x004\x001\x00")
	fixture.WriteFile(t, filepath.Join(dir, "diary.sha256"), "this is\na diary\n")
	fixture.WriteFile(t, filepath.Join(dir, "good.md5"), fixture.Command(t, dir, "md5sum", "diary.sha256"))
	r := everyByteOf(t, reading(dir, ""))
	if f := r.Fact("known_unread"); f.Value != 2 || !strings.Contains(f.Text, "diary.sha256") || r.Status != checks.Passed {
		t.Errorf("%v: %v %q", r.Status, f.Value, f.Text)
	}
	if f := r.Fact("known_checksums"); f.Value != int64(1) || !strings.Contains(f.Text, "1 list") {
		t.Errorf("%v %q", f.Value, f.Text)
	}
}

// A file in whose place there is a link, a pipe or nothing by the time it is to be read was changed, and is not rotten; nor
// is what was in a folder that is a file by then.
func TestReplacedWhileReading(t *testing.T) {
	dir := realTemp(t)
	for i := range 40 {
		fixture.WriteFile(t, filepath.Join(dir, fmt.Sprintf("a/clip %02d.mov", i)), "frames")
	}
	fixture.WriteFile(t, filepath.Join(dir, "z/last.mov"), "frames")
	at := func(i int) string { return filepath.Join(dir, fmt.Sprintf("a/clip %02d.mov", i)) }
	var one sync.Mutex // holds up the other lane until all is replaced
	done := false
	everyByteFile = func(int64) {
		one.Lock()
		defer one.Unlock()
		if done {
			return
		}
		done = true
		for i := 36; i < 40; i++ {
			fixture.Must(t, os.Remove(at(i)))
		}
		fixture.Must(t, os.Symlink("clip 00.mov", at(36)))
		fixture.Must(t, unix.Mkfifo(at(37), 0o644))
		fixture.Must(t, os.Mkdir(at(38), 0o755))
		fixture.Must(t, os.RemoveAll(filepath.Join(dir, "z")))
		fixture.WriteFile(t, filepath.Join(dir, "z"), "no folder")
	}
	defer func() { everyByteFile = nil }()
	r := everyByteOf(t, reading(dir, ""))
	if r.Status != checks.Unknown || !strings.Contains(r.Reason, "5 files changed or vanished") || len(told(r)) > 0 {
		t.Errorf("%v %q %q", r.Status, r.Reason, told(r))
	}
}

// A state folder that does not respond, here by a pipe that nobody writes to, does not keep a run from being stopped.
func TestStopWhileRecalling(t *testing.T) {
	dir, state := realTemp(t), t.TempDir()
	archiveOf(t, dir)
	everyByteOf(t, reading(dir, state))
	logs, err := filepath.Glob(filepath.Join(state, "read", "*.log"))
	fixture.Must(t, err)
	for _, log := range logs {
		fixture.Must(t, os.Remove(log))
		fixture.Must(t, unix.Mkfifo(log, 0o600))
	}
	ctx, stop := context.WithCancel(t.Context())
	rep, err := checks.Run(ctx, reading(dir, state), []*checks.Check{everyByteReads}, func(e checks.Event) {
		if e.Check == everyByteReads {
			time.AfterFunc(0, stop)
		}
	})
	if !errors.Is(err, context.Canceled) || rep == nil || !rep.Interrupted || len(logs) != 1 {
		t.Errorf("%v, %d files", err, len(logs))
	}
	for _, log := range logs { // lets go of the call that was left behind
		f, err := os.OpenFile(log, os.O_RDWR, 0)
		fixture.Must(t, err)
		fixture.Must(t, f.Close())
	}
}

// What could not be looked at was not read: no list of folders, no file in a folder that may not be searched. Clutter
// that nobody may open is no reason.
func TestReadClosedFolders(t *testing.T) {
	if !fixture.Ordinary(t) {
		return
	}
	for _, c := range []struct {
		tree []string
		good bool
		says string
	}{
		{[]string{"a 1", "closed/file 1", "closed/ mode=0000"}, false, "1 folder could not be listed"},
		{[]string{"a 1", "listed/file 1", "listed/ mode=0444"}, false, "may not open 1 file"},
		{[]string{"a 1", "listed/below/file 1", "listed/ mode=0444"}, false, "1 folder could not be listed"},
		{[]string{"a 1", ".Trashes/file 1", ".Trashes/ mode=0000", "b/.DS_Store 1 mode=0000"}, true, ""},
	} {
		root, state := realTemp(t), t.TempDir()
		grow(t, root, c.tree...)
		for _, read := range []bool{true, false} {
			job := reading(root, state)
			job.Read = read
			r := everyByteOf(t, job)
			if good := r.Status == checks.Passed; good != c.good || !strings.Contains(r.Reason, c.says) && read {
				t.Errorf("%q, read %v: %v %q", c.tree, read, r.Status, r.Reason)
			}
		}
		for _, closed := range []string{"closed", "listed", ".Trashes"} {
			_ = os.Chmod(filepath.Join(root, closed), 0o755) // only one of them is there
		}
	}
}

// The baseline is a manifest that sha256sum verifies; it is never written over anything, nor without a reading,
// nor by a reading that was stopped.
func TestBaseline(t *testing.T) {
	dir := realTemp(t)
	files := archiveOf(t, dir)
	fixture.WriteFile(t, filepath.Join(dir, "day0.txt"), "between")
	out := filepath.Join(t.TempDir(), "baseline.sha256")
	job := reading(dir, t.TempDir())
	job.Baseline = out
	r := everyByteOf(t, job)
	if r.Status != checks.Passed || r.Fact("baseline").Value != out {
		t.Fatalf("%v %q", r.Status, r.Reason)
	}
	fixture.Command(t, dir, "sha256sum", "-c", "--strict", "--warn", out)
	text, err := os.ReadFile(out)
	fixture.Must(t, err)
	var paths []string
	h, err := manifest.Read(bytes.NewReader(text), func(f *manifest.File) error {
		paths = append(paths, string(f.Path))
		if f.Sums.Has != 0 || !f.Read.IsZero() {
			t.Errorf("%s: %+v", f.Path, f)
		}
		return nil
	})
	fixture.Must(t, err)
	if len(paths) != len(files)+1 || h.Source != dir || h.Unread != 0 || !slices.IsSorted(paths) {
		t.Errorf("%+v with %q", h, paths)
	}
	for name, tc := range map[string]struct {
		change func(*checks.Job)
		want   string
	}{
		"exists":            {func(*checks.Job) {}, "already exists"},
		"nothing is read":   {func(j *checks.Job) { j.Read, j.Baseline = false, out+"2" }, "-read"},
		"in the source":     {func(j *checks.Job) { j.Baseline = filepath.Join(dir, "day0", "b") }, "is in the source"},
		"in no folder":      {func(j *checks.Job) { j.Baseline = filepath.Join(dir, "none", "b") }, "there is no folder"},
		"in a file's place": {func(j *checks.Job) { j.Baseline = filepath.Join(out, "b") }, "there is no folder"},
	} {
		job := job
		tc.change(&job)
		var at *checks.JobError
		if rep, err := checks.Run(t.Context(), job, []*checks.Check{everyByteReads}, nil); rep != nil || !errors.As(err, &at) || at.Field != checks.FieldBaseline || !strings.Contains(err.Error(), tc.want) {
			t.Errorf("%s: %v", name, err)
		}
	}
	if now, err := os.ReadFile(out); err != nil || !bytes.Equal(now, text) {
		t.Errorf("the baseline was touched: %v", err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	stopped := reading(dir, t.TempDir())
	stopped.Baseline = out + ".stopped"
	rep, err := checks.Run(ctx, stopped, []*checks.Check{everyByteReads}, func(e checks.Event) {
		if strings.HasPrefix(e.Phase, "Reading every file") || e.Check == everyByteReads && e.Result == nil {
			cancel()
		}
	})
	if !errors.Is(err, context.Canceled) || !rep.Interrupted {
		t.Errorf("stopped: %v", err)
	}
	if _, err := os.Stat(stopped.Baseline); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("stopped, and there is a baseline: %v", err)
	}
}

// A state folder that cannot be written, or is in the source, keeps nobody from reading: it is told.
func TestReadWithoutMemory(t *testing.T) {
	dir := realTemp(t)
	archiveOf(t, dir)
	blocked := t.TempDir()
	fixture.WriteFile(t, filepath.Join(blocked, "read"), "a file where a folder should be")
	for name, state := range map[string]string{"blocked": blocked, "in the source": filepath.Join(dir, "day0"), "in it, not there yet": filepath.Join(dir, "not", "yet")} {
		before := fixture.Tree(t, dir)
		r := everyByteOf(t, reading(dir, state))
		if why, _ := r.Fact("memory_error").Value.(string); r.Status != checks.Passed || why == "" {
			t.Errorf("%s: %v, %q", name, r.Status, why)
		}
		if now := fixture.Tree(t, dir); now != before {
			t.Errorf("%s: the source was changed:\n%s", name, now)
		}
	}
}

// A state folder without room takes what it can: the reading goes on and says so, and the next finds what went
// in. Of one that is read-only only what is there is used. Neither claims that anything is remembered.
func TestReadWithoutRoom(t *testing.T) {
	if !fixture.Room(t) {
		return
	}
	dir := realTemp(t)
	files := int64(len(archiveOf(t, dir)))
	for ; files < 60; files++ {
		fixture.WriteFile(t, filepath.Join(dir, "notes", fmt.Sprint(files)), fmt.Sprint(files))
	}
	full, closed, none := filepath.Join(t.TempDir(), "full"), filepath.Join(t.TempDir(), "closed"), filepath.Join(t.TempDir(), "none")
	fixture.Mount(t, full, "-t", "tmpfs", "-o", "size=4k", "tmpfs")
	fixture.Mount(t, none, "-t", "tmpfs", "-o", "ro,size=64k", "tmpfs")
	fixture.Mount(t, closed, "-t", "tmpfs", "-o", "size=64k", "tmpfs")
	look := func(what string, job checks.Job, status checks.Status, remembered int64, trouble string) *checks.Result {
		t.Helper()
		r := everyByteOf(t, job)
		why, _ := r.Fact("memory_error").Value.(string)
		if r.Status != status || r.Fact("files_read").Value != files-remembered || r.Fact("remembered").Value != remembered ||
			(why != "") != (trouble != "") || !strings.Contains(why, trouble) {
			t.Errorf("%s: %v %q, %v read, %v remembered, %q", what, r.Status, r.Reason, r.Fact("files_read").Value, r.Fact("remembered").Value, why)
		}
		return r
	}
	const noRoom, readOnly = "no space left on device", "read-only file system"
	// 4 KiB hold the first line of 16 bytes and 31 records of 128.
	look("full", reading(dir, full), checks.Passed, 0, noRoom)
	look("full before", reading(dir, full), checks.Passed, 31, noRoom)
	look("read-only", reading(dir, none), checks.Passed, 0, readOnly)
	look("with room", reading(dir, closed), checks.Passed, 0, "")
	fixture.Command(t, "/", "mount", "-o", "remount,ro", closed)
	look("read-only, all remembered", reading(dir, closed), checks.Passed, files, "")
	fixture.WriteFile(t, filepath.Join(dir, "notes", "6"), "changed")
	look("read-only, one changed", reading(dir, closed), checks.Passed, files-1, readOnly)

	// A baseline for which there is no room is not there, and what is said of the reading is true.
	for state, want := range map[string]bool{full: false, none: false, t.TempDir(): true} {
		job := reading(dir, state)
		job.Baseline = filepath.Join(full, "baseline")
		r := everyByteOf(t, job)
		if r.Status != checks.Unknown || !strings.Contains(r.Reason, "baseline could not be written") ||
			strings.Contains(r.Reason, "what was read is remembered") != want || strings.Contains(r.Reason, "takes no time") != want {
			t.Errorf("baseline: %v %q", r.Status, r.Reason)
		}
		if _, err := os.Lstat(job.Baseline); !errors.Is(err, fs.ErrNotExist) {
			t.Errorf("baseline: %v", err)
		}
	}
	// A reading that is stopped says it too.
	for state, want := range map[string]bool{none: true, t.TempDir(): false} {
		ctx, cancel := context.WithCancel(t.Context())
		everyByteFile = func(int64) { cancel() }
		rep, err := checks.Run(ctx, reading(dir, state), []*checks.Check{everyByteReads}, nil)
		everyByteFile = nil
		if !errors.Is(err, context.Canceled) || (rep.Result(everyByteReads.ID).Fact(digest.MemoryError).Value != nil) != want {
			t.Errorf("stopped: %v, %v", err, rep.Result(everyByteReads.ID).Facts)
		}
	}
	// A baseline that is there keeps the reading from beginning, whatever the state folder is.
	for _, state := range []string{full, none} {
		job := reading(dir, state)
		job.Baseline = filepath.Join(t.TempDir(), "baseline")
		fixture.WriteFile(t, job.Baseline, "somebody's")
		var events int
		rep, err := checks.Run(t.Context(), job, []*checks.Check{everyByteReads}, func(checks.Event) { events++ })
		var at *checks.JobError
		if rep != nil || events > 0 || !errors.As(err, &at) || at.Field != checks.FieldBaseline {
			t.Errorf("baseline exists: %v, %d events", err, events)
		}
		if text, err := os.ReadFile(job.Baseline); err != nil || string(text) != "somebody's" {
			t.Errorf("baseline exists: %q, %v", text, err)
		}
	}
}

// Two runs over one disk at once, with one state folder, are both right, and the third reads nothing. Each begins
// to read once both have looked at what is remembered.
func TestReadTwiceAtOnce(t *testing.T) {
	dir, state := realTemp(t), t.TempDir()
	files := int64(len(archiveOf(t, dir)))
	var both, done sync.WaitGroup
	both.Add(2)
	for i := range 2 {
		done.Go(func() {
			meet := sync.OnceFunc(func() { both.Done(); both.Wait() })
			defer meet() // not to keep the other waiting for one that failed
			rep, err := checks.Run(t.Context(), reading(dir, state), []*checks.Check{everyByteReads}, func(e checks.Event) {
				if e.Check == everyByteReads && e.Result == nil {
					meet()
				}
			})
			if err != nil {
				t.Error(err)
				return
			}
			r := rep.Result(everyByteReads.ID)
			if r.Status != checks.Passed || r.Fact("files_read").Value != files || r.Fact("remembered").Value != int64(0) || r.Fact("memory_error").Value != nil {
				t.Errorf("run %d: %v %q, %v read, %v", i, r.Status, r.Reason, r.Fact("files_read").Value, r.Fact("memory_error").Value)
			}
		})
	}
	done.Wait()
	if r := everyByteOf(t, reading(dir, state)); r.Status != checks.Passed || r.Fact("files_read").Value != int64(0) || r.Fact("remembered").Value != files {
		t.Errorf("third: %v %q, %v read, %v remembered", r.Status, r.Reason, r.Fact("files_read").Value, r.Fact("remembered").Value)
	}
}

// A stretch that is slow twice is flagged, one that was slow once is not. The clock is the test's: the second
// reading of the one takes as long as the first.
func TestSlowReading(t *testing.T) {
	dir := realTemp(t)
	fixture.WriteFile(t, filepath.Join(dir, "slow"), strings.Repeat("x", 1<<20))
	fixture.WriteFile(t, filepath.Join(dir, "once"), strings.Repeat("x", 1<<20))
	stretch := func(path string, took time.Duration) suspect {
		return suspect{path, digest.Stretch{Part: digest.Part{Length: 64 << 20}, Took: took}}
	}
	var pass *checks.Pass
	e := diskReading{everyByte: &everyByte{}, slow: []suspect{stretch("slow", 10*time.Second), stretch("once", 10*time.Second)}}
	for range 20 {
		e.slow = append(e.slow, stretch("usual", 500*time.Millisecond))
	}
	for _, s := range e.slow {
		e.rates = append(e.rates, s.Rate())
	}
	now := time.Unix(0, 0)
	in := &digest.Reading{Root: dir, Deadline: time.Minute}
	pass = checks.NewPass(everyByteReads, &checks.Job{Source: dir, Deadline: time.Minute, Now: time.Now}, 1)
	step := time.Minute // for the first file that is read again
	in.Now = func() time.Time {
		now = now.Add(step)
		step = map[bool]time.Duration{true: time.Minute}[now.Before(time.Unix(60, 1))]
		return now
	}
	fixture.Must(t, e.confirmSlow(t.Context(), pass, in))
	res := pass.Close("")
	if got := told(&res); !slices.Equal(got, []string{"slow-reading slow 0 67108864"}) {
		t.Errorf("%q", got)
	}
}
