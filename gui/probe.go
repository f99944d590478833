package gui

import (
	"errors"
	"io/fs"
	"os"
	"time"

	"loadline/checks"
	"loadline/checks/names"
)

// probeAfter is how long a path must stand still before it is looked at.
const probeAfter = 300 * time.Millisecond

// probes looks at typed places beside the window, one look at a time for each: a share that hangs
// then holds one goroutine, never the window.
type probes struct {
	cancel func()
	turn   int
	busy   map[string]bool
}

// probe looks whether the two places are there and says so beside them.
func (w *Window) probe(v *view) {
	if w.probes.cancel != nil {
		w.probes.cancel()
	}
	w.probes.turn++
	turn := w.probes.turn
	w.probes.cancel = w.desk.After(probeAfter, func() {
		w.desk.Post(func() {
			if turn != w.probes.turn || w.running == v.stage {
				return
			}
			for _, x := range []*well{v.route.from, v.route.to} {
				w.lookAt(v, x, turn)
			}
		})
	})
}

func (w *Window) lookAt(v *view, x *well, turn int) {
	path := x.get()
	if list := typedPaths(x.path.Text); len(list) > 1 {
		x.say(checks.Count(int64(len(list)))+" files", "")
		v.relay()
		return
	}
	if path == "" {
		x.say("", "")
		v.relay()
		return
	}
	if w.probes.busy[path] {
		return
	}
	if w.probes.busy == nil {
		w.probes.busy = map[string]bool{}
	}
	w.probes.busy[path] = true
	folder := v.stage != checks.Arrival
	go func() {
		facts, problem := lookAtPath(path, folder)
		w.desk.Post(func() {
			delete(w.probes.busy, path)
			if turn != w.probes.turn || x.get() != path || w.running == v.stage {
				return
			}
			if rep := v.report; rep != nil && problem == "" && (rep.Source.Path == path || rep.Share != nil && rep.Share.Path == path) {
				v.facts()
				return
			}
			x.say(facts, problem)
			v.relay()
		})
	}()
}

// lookAtPath says in words what stands at a path, or what is wrong with it.
func lookAtPath(path string, folder bool) (facts, problem string) {
	info, err := os.Stat(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return "", "Nothing is there. Is the disk plugged in and mounted, and the path spelled right?"
	case errors.Is(err, fs.ErrPermission):
		return "", "You may not look there. Change its permissions, or work as a user who may."
	case err != nil:
		return "", "It cannot be looked at: " + names.Quote(err.Error())
	case folder && !info.IsDir():
		return "", "This is a file. Choose the folder that holds it."
	case !folder && info.IsDir():
		return "", "This is a folder. Choose a file."
	case folder:
		return "Folder found", ""
	}
	return checks.Bytes(info.Size()), ""
}

// chooser returns what a well's button does.
func (w *Window) chooser(x **well, title string, folder bool) func() {
	return func() {
		choose := w.desk.ChooseFile
		if folder {
			choose = w.desk.ChooseFolder
		}
		choose(title, (*x).get(), func(path string, err error) {
			w.desk.Post(func() {
				switch {
				case err != nil:
					(*x).say("", "No dialog could be shown. Type the path, or drop the folder here.")
				case path != "":
					(*x).put(path)
				}
			})
		})
	}
}
