// Command loadline opens the window: wiring only. What it shows is in gui, what it finds out is in
// checks.
//
//	loadline [SOURCE [SHARE]]    opens with both filled in
//	loadline -demo               opens on an invented archive
//	loadline -version            tells which build this is
package main

import (
	"errors"
	"flag"
	"fmt"
	"io"
	"log"
	"os"
	"os/signal"
	"path/filepath"
	"runtime"
	"runtime/debug"
	"sync"
	"syscall"
	"time"

	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/app"

	"loadline/assets"
	"loadline/checks"
	"loadline/checks/demo"
	"loadline/checks/share"
	"loadline/cmd/loadline/display"
	_ "loadline/cmd/loadline/locale" // before the toolkit's packages are initialised
	"loadline/gui"
	"loadline/gui/kit"
)

func main() {
	status := run(os.Args[1:], os.Stderr)
	share.Leave()
	os.Exit(status)
}

// asked is what the command line asks for.
type asked struct {
	demo, version bool
	source, share string
}

var errUsage = errors.New("usage: loadline [SOURCE [SHARE]] or loadline -demo or loadline -version")

// parse reads the arguments; flags may stand before or after the folders.
func parse(args []string, out io.Writer) (asked, error) {
	var a asked
	f := flag.NewFlagSet("loadline", flag.ContinueOnError)
	f.SetOutput(io.Discard)
	f.BoolVar(&a.demo, "demo", false, "open on an invented archive")
	f.BoolVar(&a.version, "version", false, "tell which build this is, and open nothing")
	var rest []string
	for {
		if err := f.Parse(args); err != nil {
			if errors.Is(err, flag.ErrHelp) {
				fmt.Fprintln(out, errUsage)
				return a, err
			}
			return a, fmt.Errorf("%w: %w", err, errUsage)
		}
		if f.NArg() == 0 {
			break
		}
		rest = append(rest, f.Arg(0))
		args = f.Args()[1:]
	}
	if len(rest) > 2 || (a.demo || a.version) && len(rest) > 0 {
		return a, errUsage
	}
	for i, to := range []*string{&a.source, &a.share} {
		if i < len(rest) {
			abs, err := filepath.Abs(rest[i])
			if err != nil {
				return a, err
			}
			*to = abs
		}
	}
	return a, nil
}

// without is what is said of a computer that can open no window.
const without = "Use loadline-cli, which does the same checks without a window."

// writePatience is how long files that are being written may take as the program ends.
const writePatience = 20 * time.Second

// quitPatience is how long a window may take to close once a signal asks for it.
const quitPatience = 30 * time.Second

func run(args []string, out io.Writer) int {
	a, err := parse(args, out)
	switch {
	case errors.Is(err, flag.ErrHelp):
		return 0
	case err != nil:
		fmt.Fprintln(out, err)
		return 2
	case a.version:
		fmt.Println(checks.ThisBuild())
		return 0
	}
	place := os.Getenv("DISPLAY")
	if native {
		place = os.Getenv("WAYLAND_DISPLAY")
	}
	if why := display.Missing(runtime.GOOS, os.Getenv); why != "" && !(native && place != "") {
		fmt.Fprintln(out, why, without)
		return 2
	}
	if err := canConnect(); err != nil {
		fmt.Fprintf(out, "No window can open: the display %s does not respond (%v). %s\n", place, err, without)
		return 2
	}
	// A report with a million findings fills some 300 MiB. The collector's usual rhythm would let
	// twice that grow before it looks again.
	debug.SetGCPercent(40)
	yieldToDrawing()
	app.SetMetadata(fyne.AppMetadata{
		ID: "loadline", Name: "Loadline", Version: checks.Version,
		Icon:       fyne.NewStaticResource("icon.png", assets.Icon()),
		Migrations: map[string]bool{"fyneDo": true},
	})
	log.SetOutput(&toolkitLog{out: out})
	program := app.NewWithID("loadline")
	fyne.SetCurrentApp(kit.Still(program))
	win := program.NewWindow("Loadline")
	loop := newPacer()
	desktop := gui.RealDesktop(win, loop)
	if i := newIcon(); i != nil {
		desktop.Progress = i.show
	}
	desktop.Version = checks.Version
	desktop.ScreenWidth, desktop.ScreenHeight = screen()
	w := gui.New(win, gui.RealEngine(), desktop)
	clean := func() {}
	if a.demo {
		d, err := demo.New()
		if err != nil {
			fmt.Fprintln(out, err)
			return 2
		}
		clean = sync.OnceFunc(func() {
			if err := d.Close(); err != nil {
				fmt.Fprintln(out, err)
			}
		})
		defer clean()
		w.Demo(d)
	} else {
		go func() { _ = demo.Sweep() }() // of demos that were killed; it only takes up room
		if a.source != "" {
			w.Open(a.source, a.share)
		}
	}
	signals := make(chan os.Signal, 1)
	signal.Notify(signals, os.Interrupt, syscall.SIGTERM, syscall.SIGHUP)
	go func() {
		<-signals
		loop.Post(w.Quit)
		<-time.After(quitPatience) // a window that hangs is left as it is
		clean()
		os.Exit(1)
	}()
	// The program ends here, on the loop, and the toolkit does not end its own way: as it closes its queue, a last
	// event may still be sent to it, which panics, or be lost, which hangs (runGL, runOnMainWithWait and
	// Lifecycle.WaitForEvents of Fyne 2.7.4).
	win.SetOnClosed(func() {
		loop.end()
		win.Hide() // what is being written may take a while
		w.Finish(writePatience)
		clean()
		share.Leave()
		os.Exit(0)
	})
	loop.start()
	win.ShowAndRun()
	w.Finish(writePatience)
	return 0
}
