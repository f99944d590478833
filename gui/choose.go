package gui

import (
	"context"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"time"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/dialog"
	"fyne.io/fyne/v2/storage"

	"github.com/adrg/xdg"
	"github.com/rymdport/portal/filechooser"

	"loadline/checks/share"
	"loadline/gui/kit"
)

// chooser asks for a folder or a file: by the desktop's or the system's own dialog where there is one, which
// lists folders in a process of its own, so that a share that hangs cannot hold up the window; else by
// Fyne's.
type chooser struct {
	window fyne.Window
	post   func(func())
}

func (c chooser) ask(title, start string, folder bool, done func(string, error)) {
	go func() {
		if runtime.GOOS == "linux" || runtime.GOOS == "freebsd" || runtime.GOOS == "openbsd" || runtime.GOOS == "netbsd" {
			uris, err := filechooser.OpenFile("", title, &filechooser.OpenFileOptions{Directory: folder, CurrentFolder: start})
			if err == nil {
				if len(uris) == 0 {
					done("", nil)
					return
				}
				if u, err := url.Parse(uris[0]); err == nil && u.Scheme == "file" {
					done(u.Path, nil)
					return
				}
			}
		}
		at := startFor(start)
		if path, ok := askSystem(title, at, folder); ok {
			done(path, nil)
			return
		}
		c.post(func() { c.own(title, at, folder, done) })
	}()
}

// startFor is where Fyne's own dialog may begin: it lists folders on the goroutine of the user interface,
// so never on what does not answer at once, or is on a network; at home then.
func startFor(start string) string {
	if start != "" {
		if f, err := share.Look(context.Background(), start, time.Second); err == nil && !f.Network {
			return f.Path
		}
	}
	home, err := os.UserHomeDir()
	if err != nil {
		return ""
	}
	return home
}

// own shows Fyne's dialog.
func (c chooser) own(title, start string, folder bool, done func(string, error)) {
	var d *dialog.FileDialog
	if folder {
		d = dialog.NewFolderOpen(func(u fyne.ListableURI, err error) {
			if u == nil || err != nil {
				done("", err)
				return
			}
			done(u.Path(), nil)
		}, c.window)
	} else {
		d = dialog.NewFileOpen(func(u fyne.URIReadCloser, err error) {
			if u == nil || err != nil {
				done("", err)
				return
			}
			p := u.URI().Path()
			_ = u.Close() // only the name is wanted
			done(p, nil)
		}, c.window)
	}
	settings := fyne.CurrentApp().Settings()
	if t, ok := settings.Theme().(*kit.Theme); ok { // its lists are long
		settings.SetTheme(&kit.Theme{Mode: t.Mode, Dialog: true})
		d.SetOnClosed(func() { settings.SetTheme(t) })
	}
	d.SetTitleText(title)
	d.SetConfirmText("Choose")
	if start != "" {
		if l, err := storage.ListerForURI(storage.NewFileURI(start)); err == nil {
			d.SetLocation(l)
		}
	}
	s := c.window.Canvas().Size()
	d.Resize(fyne.NewSize(min(s.Width-60, 820), min(s.Height-60, 560)))
	d.Show()
}

// openFolder shows a folder in the file manager.
func openFolder(folder string) error {
	name, args := "xdg-open", []string{folder}
	switch runtime.GOOS {
	case "darwin":
		name = "open"
	case "windows":
		name = "explorer"
	}
	cmd := exec.Command(name, args...)
	if err := cmd.Start(); err != nil {
		return err
	}
	go func() { _ = cmd.Wait() }() // its status says nothing: file managers hand over and end
	return nil
}

func stateDir() string { return filepath.Join(xdg.StateHome, "loadline") }

func reportDir() string {
	if d := xdg.UserDirs.Documents; d != "" {
		if s, err := os.Stat(d); err == nil && s.IsDir() {
			return d
		}
	}
	if h, err := os.UserHomeDir(); err == nil {
		return h
	}
	return "."
}
