package gui

import (
	"context"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"loadline/checks"
	"loadline/checks/manifest"
	"loadline/checks/share"
)

// probeAfter is how long a path must stand still before it is looked at.
const probeAfter = 300 * time.Millisecond

// probeDeadline is how long a place may stay silent before that is said.
const probeDeadline = 3 * time.Second

// probes looks at typed places beside the window, one look at a time for each: a share that hangs
// then holds one goroutine, never the window.
type probes struct {
	cancel func()
	busy   map[string]bool // what is being looked at
}

// probe looks whether the two places are there and says so beside them.
func (w *Window) probe(v *view) {
	if w.probes.cancel != nil {
		w.probes.cancel()
	}
	w.probes.cancel = w.desktop.After(probeAfter, func() {
		w.desktop.Post(func() {
			if w.running == v.stage {
				return
			}
			for _, x := range append([]*picker{v.setup.from, v.setup.to}, v.diskPickers()...) {
				if v.setup.store != nil && x == v.setup.to {
					w.inspectStore(v)
				} else {
					w.inspect(v, x)
				}
			}
		})
	})
}

// look finds out something about what is typed, beside the window. It is shown if it is still asked for by then.
func (w *Window) look(v *view, what string, still func() bool, find func() (show func())) {
	if w.probes.busy[what] {
		return
	}
	w.probes.busy[what] = true
	go func() {
		show := find()
		w.desktop.Post(func() {
			delete(w.probes.busy, what)
			if !still() || w.running == v.stage {
				return
			}
			show()
			if v.state == stateIdle { // what a run has said stays
				w.showReady(v)
			}
			v.relayout()
		})
	}()
}

func (w *Window) inspect(v *view, x *picker) {
	path, kind := x.get(), placeSource
	switch {
	case path == "":
		x.say("", "")
		v.relayout()
		return
	case x == v.setup.to && w.standIn != nil && v.setup.options != nil: // its file system is not what is judged
		x.say("stands in for the share", "")
		v.relayout()
		return
	case v.stage == checks.Arrival, v.stage == checks.Recheck && x == v.setup.from:
		kind = placeFile
	case v.stage != checks.Recheck && x == v.setup.to:
		kind = placeShare
	}
	w.look(v, path, func() bool { return x.get() == path }, func() func() {
		facts, problem := inspectPath(path, kind)
		real := ""
		if kind == placeSource && problem == "" {
			real = followLinks(path)
		}
		return func() {
			w.links.learn(path, real)
			at := w.links.settle(path)
			if rep := v.report; rep != nil && problem == "" && (rep.Source.Path == at || rep.Share != nil && rep.Share.Path == at) {
				v.facts()
			} else {
				x.say(facts, problem)
			}
		}
	})
}

// followLinks returns where a folder really lies, as a job would; "" where that cannot be told.
func followLinks(path string) string {
	real, err := share.Guard(context.Background(), probeDeadline, func() (string, error) {
		abs, err := filepath.Abs(path)
		if err != nil {
			return "", err
		}
		return filepath.EvalSymlinks(abs)
	})
	if err != nil {
		return ""
	}
	return real
}

// placeKind is what a path is looked at for.
type placeKind uint8

const (
	placeFile placeKind = iota // a manifest
	placeSource
	placeShare
)

// inspectPath says in words what stands at a path, or what is wrong with it and what to do.
func inspectPath(path string, kind placeKind) (facts, problem string) {
	if kind == placeFile {
		info, problem := lookAtFile(path)
		if problem != "" {
			return "", problem
		}
		return inspectManifest(path, info.Size())
	}
	f, err := share.Look(context.Background(), path, probeDeadline)
	if err != nil {
		return "", pathProblem(err)
	}
	facts = f.Mount.Type
	if f.Space.Total > 0 && f.Space.Free >= 0 {
		if kind == placeShare {
			facts = checks.Bytes(f.Space.Free) + " free of " + checks.Bytes(f.Space.Total) + ", " + facts
		} else {
			facts = checks.Bytes(f.Space.Total-f.Space.Free) + " in use, " + facts
		}
	}
	if kind == placeShare && f.System {
		return facts, "No share is mounted here: this folder is on this computer’s own disk. Mount the share first."
	}
	return facts, ""
}

// manifestAtOnce is the size up to which a manifest is read through as soon as it is named, bytes: a
// second or so of work. A larger one is read when the check runs.
const manifestAtOnce = 64 << 20

// inspectManifest says what a manifest holds, or why it cannot be used.
func inspectManifest(path string, size int64) (facts, problem string) {
	if size > manifestAtOnce {
		return checks.Bytes(size), ""
	}
	f, err := os.Open(path)
	if err != nil {
		return "", pathProblem(err)
	}
	defer f.Close()
	h, err := manifest.Read(f, func(*manifest.File) error { return nil })
	if err != nil {
		return "", capitalize(oneLine(err.Error())) + "."
	}
	return checks.Plural(h.Files, "file") + ", " + checks.Bytes(h.Bytes) + ", of " + h.Made.Local().Format("2 January 2006"), ""
}

// lookAtFile looks whether a file is there, or says what is wrong with its path.
func lookAtFile(path string) (info fs.FileInfo, problem string) {
	info, err := os.Stat(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil, "There is no such file. Check how the path is spelled."
	case err != nil:
		return nil, pathProblem(err)
	case info.IsDir():
		return nil, "This is a folder. Choose a file."
	}
	return info, ""
}

// pathProblem puts what the system answers into words that help.
func pathProblem(err error) string {
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return "Nothing is there. Is the disk plugged in and mounted, and the path spelled right?"
	case errors.Is(err, fs.ErrPermission):
		return "You do not have permission to look there. Change the permissions, or run Loadline as a user who has it."
	case errors.Is(err, share.ErrNotFolder):
		return "This is a file. Choose the folder that holds it."
	case share.Silent(err):
		return "It does not respond. Is the appliance on, and the cable plugged in? You can still check: the disk is checked, and the share is reported as not responding."
	}
	return "It cannot be read: " + oneLine(err.Error()) + "."
}

func (w *Window) chooser(x **picker, title string, folder bool) func() {
	return func() {
		w.choose(title, (*x).start(), folder, func(path string) { (*x).put(path) },
			func() { (*x).say("", "No dialog could be shown. Type the path, or drop the folder here.") })
	}
}

// choose asks the person for a folder, or for a file; none is called where no dialog could be shown.
func (w *Window) choose(title, start string, folder bool, chosen func(path string), none func()) {
	w.desktop.Choose(title, start, folder, func(path string, err error) {
		w.desktop.Post(func() {
			switch {
			case err != nil:
				none()
			case path != "":
				chosen(path)
			}
		})
	})
}
