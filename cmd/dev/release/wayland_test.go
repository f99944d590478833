//go:build release && linux

package release

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"loadline/cmd/dev/e2e"
	"loadline/gui/trace"
)

// The window opens on Wayland itself, without Xwayland, runs the demo, and is shown by the compositor's own
// picture. The compositor runs on a display of its own, not headless: without a seat, which Weston 10 has
// only with a keyboard and a pointer behind it, the toolkit's window library (GLFW 3.3, wl_init.c) asks the
// seat that is not there and crashes.
func TestWayland(t *testing.T) {
	program, err := filepath.Abs("../../../bin/loadline-wayland")
	if err != nil {
		t.Fatal(err)
	}
	d := e2e.NewDisplay(t, 1280, 800)
	runtime := t.TempDir()
	if err := os.Chmod(runtime, 0o700); err != nil {
		t.Fatal(err)
	}
	config := filepath.Join(runtime, "weston.ini")
	if err := os.WriteFile(config, []byte("[core]\nidle-time=0\n[shell]\npanel-position=none\nlocking=false\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	const socket = "loadline-test"
	weston := exec.Command("weston", "--backend=x11-backend.so", "--use-pixman", "--config="+config, "--debug",
		"--width=1280", "--height=800", "--socket="+socket, "--log="+filepath.Join(runtime, "log"))
	weston.Env = append(d.Env(), "XDG_RUNTIME_DIR="+runtime)
	if err := weston.Start(); err != nil {
		t.Fatal(err)
	}
	ended := make(chan error, 1)
	go func() { ended <- weston.Wait() }()
	t.Cleanup(func() {
		if t.Failed() {
			b, _ := os.ReadFile(filepath.Join(runtime, "log"))
			t.Logf("weston said:\n%s", b)
		}
		weston.Process.Kill()
	})
	wait(t, "the compositor", ended, func() bool {
		_, err := os.Stat(filepath.Join(runtime, socket))
		return err == nil
	})

	file := filepath.Join(runtime, "trace")
	window := exec.Command(program, "-demo")
	env := append(d.Env(), "XDG_RUNTIME_DIR="+runtime, "WAYLAND_DISPLAY="+socket, trace.Env+"="+file)
	for _, v := range env {
		if !strings.HasPrefix(v, "DISPLAY=") {
			window.Env = append(window.Env, v)
		}
	}
	log := filepath.Join(runtime, "window")
	out, err := os.Create(log)
	if err != nil {
		t.Fatal(err)
	}
	defer out.Close()
	window.Stdout, window.Stderr = out, out
	if err := window.Start(); err != nil {
		t.Fatal(err)
	}
	gone := make(chan error, 1)
	go func() { gone <- window.Wait() }()
	t.Cleanup(func() {
		if t.Failed() {
			b, _ := os.ReadFile(log)
			t.Logf("the window said:\n%s", b)
		}
		window.Process.Kill()
	})
	last := func() e2e.State {
		all, err := trace.Read(file)
		if err != nil {
			t.Fatal(err)
		}
		if len(all) == 0 {
			return e2e.State{}
		}
		return all[len(all)-1]
	}
	wait(t, "the demo", gone, func() bool { return strings.Contains(last().Source, "loadline-demo-") && last().At["check"][2] > 0 })
	// The window is maximised by nobody: it lies somewhere on the screen. The keyboard goes to where the
	// pointer clicks, and Ctrl+R checks wherever that is.
	wait(t, "a run", gone, func() bool {
		d.Press(640, 400, "ctrl+r")
		s := last()
		return s.State == "running" || s.Verdict != ""
	})
	wait(t, "a verdict", gone, func() bool { s := last(); return s.Verdict != "" && s.State != "running" })
	if s := last(); s.Verdict != "fail" || s.Checks["path-depth"] != "fail" {
		t.Errorf("verdict %q, path-depth %q; want fail and fail", s.Verdict, s.Checks["path-depth"])
	}
	shooter := exec.Command("weston-screenshooter")
	shooter.Dir = runtime
	shooter.Env = append(d.Env(), "XDG_RUNTIME_DIR="+runtime, "WAYLAND_DISPLAY="+socket)
	if out, err := shooter.CombinedOutput(); err != nil {
		t.Fatalf("weston-screenshooter: %v\n%s", err, out)
	}
	pictures, err := filepath.Glob(filepath.Join(runtime, "wayland-screenshot-*.png"))
	if err != nil || len(pictures) != 1 {
		t.Fatalf("%d pictures, %v", len(pictures), err)
	}
	drawn(t, pictures[0])
	t.Logf("picture %s", d.Keep(pictures[0], "wayland"))
}

// wait polls until is holds; it ends the test where the program ends or nothing comes.
func wait(t *testing.T, what string, ended <-chan error, is func() bool) {
	t.Helper()
	tick := time.NewTicker(200 * time.Millisecond)
	defer tick.Stop()
	end := time.After(e2e.Patience)
	for !is() {
		select {
		case <-tick.C:
		case err := <-ended:
			t.Fatalf("waited for %s, but the program ended: %v", what, err)
		case <-end:
			t.Fatalf("no %s within %s", what, e2e.Patience)
		}
	}
}
