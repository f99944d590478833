package share

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"sync"
	"time"
)

// Names in a trial. The folder is .loadline-trial- and eight random letters; nothing else is ever
// made on a share.
const (
	trialPrefix = ".loadline-trial-"
	markerName  = ".loadline-trial"
	markerTitle = "This is a trial folder of Loadline. It holds test files only and may be removed."
	namesFolder = "names"
)

var (
	trialName = regexp.MustCompile(`^\.loadline-trial-[a-z2-7]{8}$`)
	trialFile = regexp.MustCompile(`^(\.loadline-trial|probe|renamed|unit|stream|small-[0-9]{1,6})$`)
)

// How long a trial of another machine, or one that has not yet written its marker, is taken to be
// still running (common practice, no source; a trial takes less than a minute as a rule).
const (
	trialElsewhere = time.Hour
	trialUnmarked  = time.Minute
)

// live are the trials of this process, by token.
var live sync.Map

// A marker proves that a trial folder was made by this program.
type marker struct {
	name    string // of the folder: a marker that was copied elsewhere proves nothing
	token   string
	host    string
	pid     int
	started time.Time
}

func newMarker(name string) marker {
	host, _ := os.Hostname() // without one the marker names none
	return marker{
		name: name, token: rand.Text(), host: strings.Join(strings.Fields(host), "-"),
		pid: os.Getpid(), started: time.Now(),
	}
}

func (m marker) String() string {
	return fmt.Sprintf("%s\nname: %s\ntoken: %s\nhost: %s\npid: %d\nstarted: %s\n",
		markerTitle, m.name, m.token, m.host, m.pid, m.started.UTC().Format(time.RFC3339))
}

// parseMarker reads a marker. Anything that it does not say in full is no marker.
func parseMarker(text string) (marker, bool) {
	lines := strings.Split(text, "\n")
	if len(lines) != 7 || lines[0] != markerTitle || lines[6] != "" {
		return marker{}, false
	}
	var m marker
	var values [5]string
	for i, key := range []string{"name: ", "token: ", "host: ", "pid: ", "started: "} {
		v, ok := strings.CutPrefix(lines[i+1], key)
		if !ok {
			return marker{}, false
		}
		values[i] = v
	}
	pid, err := strconv.Atoi(values[3])
	started, err2 := time.Parse(time.RFC3339, values[4])
	if err != nil || err2 != nil || pid <= 0 || len(values[1]) < 16 || !trialName.MatchString(values[0]) {
		return marker{}, false
	}
	m = marker{name: values[0], token: values[1], host: values[2], pid: pid, started: started}
	return m, true
}

// running says whether the trial that wrote the marker may still be under way.
func (m marker) running(now time.Time) bool {
	if now.Sub(m.started).Abs() > 24*time.Hour {
		return false
	}
	host, _ := os.Hostname()
	if m.host != strings.Join(strings.Fields(host), "-") {
		return now.Sub(m.started).Abs() < trialElsewhere
	}
	if m.pid == os.Getpid() {
		_, ok := live.Load(m.token)
		return ok
	}
	return alive(m.pid)
}

// readMarker reads the marker of a folder that is held open.
func readMarker(in *place, name string) (marker, error) {
	info, err := in.root.Lstat(markerName)
	if err != nil {
		return marker{}, err
	}
	if !info.Mode().IsRegular() || info.Size() > 4096 {
		return marker{}, errNoMarker
	}
	in.made[markerName] = info // so that what is opened is what was looked at
	f, err := in.reopen(markerName, 0)
	if err != nil {
		return marker{}, err
	}
	defer f.Close()
	text, err := io.ReadAll(io.LimitReader(f, 4097))
	if err != nil {
		return marker{}, err
	}
	m, ok := parseMarker(string(text))
	if !ok || m.name != name {
		return marker{}, errNoMarker
	}
	return m, nil
}

// Why a folder is not removed.
var (
	errNoMarker = errors.New("it does not contain the marker of a trial, so it is not removed")
	errRunning  = errors.New("a check that uses it is still running")
	errHolds    = errors.New("it contains something that no trial makes; look at it yourself")
)

// LeftBehind returns the trial folders that earlier runs left in folder, sorted as the share lists
// them: those that hold a valid marker, or hold nothing at all, and that no running trial uses.
func LeftBehind(ctx context.Context, folder string) ([]string, error) {
	var found []string
	err := watch(ctx, DefaultDeadline, func(w *worker) error {
		var p *place
		err := w.call("opening the folder", func() (err error) {
			p, err = openPlace(folder)
			return err
		})
		if err != nil {
			return explainLook(folder, err)
		}
		defer p.close()
		list, err := leftBehind(w, p)
		found = list
		return err
	})
	if err != nil {
		return nil, err // found may still be written to
	}
	return found, nil
}

// leftBehind looks through the names of an open folder, a bounded number at a time.
func leftBehind(w *worker, p *place) ([]string, error) {
	var found []string
	var d *os.File
	if err := w.call("listing the share", func() (err error) { d, err = p.root.Open("."); return err }); err != nil {
		return nil, fmt.Errorf("listing the share: %w", err)
	}
	defer d.Close()
	for {
		var names []string
		err := w.call("listing the share", func() (err error) { names, err = d.Readdirnames(4096); return err })
		for _, name := range names {
			if !trialName.MatchString(name) {
				continue
			}
			err := w.call("looking at an earlier trial folder", func() error {
				return provable(p, name)
			})
			if err == nil {
				found = append(found, filepath.Join(p.path, name))
			} else if errors.Is(err, errStopped) {
				return nil, err
			}
		}
		if errors.Is(err, io.EOF) {
			return found, nil
		}
		if err != nil {
			return nil, fmt.Errorf("listing the share: %w", err)
		}
	}
}

// provable says by an error why a folder cannot be proven to be a trial's that has ended.
func provable(p *place, name string) error {
	in, err := p.enter(name)
	if err != nil {
		return err
	}
	defer in.close()
	return provableOpen(in, name)
}

func provableOpen(in *place, name string) error {
	m, err := readMarker(in, name)
	if errors.Is(err, fs.ErrNotExist) {
		// A run that was killed at once leaves an empty folder: removing that can lose nothing.
		names, err := in.list()
		if err != nil {
			return err
		}
		if len(names) > 0 {
			return errNoMarker
		}
		info, err := in.dir.Stat()
		if err != nil {
			return err
		}
		if time.Since(info.ModTime()).Abs() < trialUnmarked {
			return errRunning
		}
		return nil
	}
	if err != nil {
		return err
	}
	if m.running(time.Now()) {
		return errRunning
	}
	return nil
}

// Remove removes a trial folder that an earlier run left behind, as LeftBehind named it. The
// folder must prove by its name and its marker that a trial made it, no trial may be using it, and
// it may hold nothing that a trial does not make; links are never followed.
func Remove(ctx context.Context, trialFolder string) error {
	folder, name := filepath.Split(filepath.Clean(trialFolder))
	if !trialName.MatchString(name) || folder == "" {
		return fmt.Errorf("%q is not a trial folder: its name is not one that a trial gives", trialFolder)
	}
	err := watch(ctx, DefaultDeadline, func(w *worker) error {
		var p *place
		if err := w.call("opening the folder", func() (err error) { p, err = openPlace(folder); return err }); err != nil {
			return err
		}
		defer p.close()
		var in *place
		if err := w.call("opening the trial folder", func() (err error) { in, err = p.enter(name); return err }); err != nil {
			return err
		}
		defer in.close()
		if err := w.call("reading the marker", func() error { return provableOpen(in, name) }); err != nil {
			return err
		}
		return clearTrial(w, p, in, name)
	})
	if err != nil {
		return fmt.Errorf("removing the trial folder %q: %w", trialFolder, err)
	}
	return nil
}

// clearTrial removes a proven trial folder with all that a trial makes. The marker goes last, so that
// one that is cut off can be proven again.
func clearTrial(w *worker, p, in *place, name string) error {
	var names []string
	if err := w.call("listing the trial folder", func() (err error) { names, err = in.list(); return err }); err != nil {
		return err
	}
	for _, n := range names { // before anything is removed
		if n != namesFolder && !trialFile.MatchString(n) {
			return fmt.Errorf("%w: %q", errHolds, n)
		}
	}
	files := make([]string, 0, len(names))
	for _, n := range names {
		switch n {
		case namesFolder:
			if err := clearNames(w, in); err != nil {
				return err
			}
		case markerName:
		default:
			files = append(files, n)
		}
	}
	if len(names) > 0 {
		files = append(files, markerName)
	}
	for _, n := range files {
		err := w.call("removing the trial's files", func() error { return in.removeFound(n, -1) })
		if err != nil {
			return err
		}
	}
	return w.call("removing the trial folder", func() error {
		if err := p.is(name, in); err != nil {
			return err
		}
		return p.removeEmpty(name)
	})
}

// clearNames removes the folder of names that were tried. They may have come back as anything, but
// all of them are empty files.
func clearNames(w *worker, in *place) error {
	var sub *place
	if err := w.call("opening the trial folder", func() (err error) { sub, err = in.enter(namesFolder); return err }); err != nil {
		return err
	}
	defer sub.close()
	var names []string
	if err := w.call("listing the trial folder", func() (err error) { names, err = sub.list(); return err }); err != nil {
		return err
	}
	for _, n := range names {
		if err := w.call("removing the trial's files", func() error { return sub.removeFound(n, 0) }); err != nil {
			return err
		}
	}
	return w.call("removing the trial folder", func() error { return in.removeEmpty(namesFolder) })
}

// removeFound removes a regular file of a proven trial folder; size -1 means any.
func (p *place) removeFound(name string, size int64) error {
	info, err := p.root.Lstat(name)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return err
	}
	if !info.Mode().IsRegular() || size >= 0 && info.Size() != size {
		return fmt.Errorf("%w: %q", errHolds, name)
	}
	return p.unlink(name)
}
