package e2e

import (
	"bufio"
	"fmt"
	"io"
	"log"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"time"

	"github.com/jezek/xgb"
)

// Patience is how long a test waits for anything to happen. It is generous: a slow machine must
// not fail a test, and one that goes well does not wait.
const Patience = 60 * time.Second

// ShotsEnv names the folder that takes the pictures; without it they go into a temporary folder
// that stays, and that the test prints.
const ShotsEnv = "LOADLINE_SHOTS"

// A Display is an X server of one test, without a window manager.
type Display struct {
	t     T
	name  string // ":7"
	home  string
	conn  *xgb.Conn
	shots string
	count int
}

// shotsFolder is one folder for all tests of a run.
var shotsFolder = sync.OnceValues(func() (string, error) {
	if dir := os.Getenv(ShotsEnv); dir != "" {
		return dir, nil
	}
	return os.MkdirTemp("", "loadline-shots-")
})

// NewDisplay starts an X server with a screen of the given size. It ends with the test.
func NewDisplay(t T, width, height int) *Display {
	t.Helper()
	for _, p := range []string{"Xvfb", "xdotool", "import"} {
		if _, err := exec.LookPath(p); err != nil {
			t.Fatalf("%s is not installed; go run ./cmd/dev test installs what the tests need", p)
		}
	}
	d := &Display{t: t, home: t.TempDir()}
	if err := os.Mkdir(d.temp(), 0o700); err != nil {
		t.Fatal(err)
	}
	var err error
	if d.shots, err = shotsFolder(); err != nil {
		t.Fatal(err)
	}
	t.Logf("pictures are in %s", d.shots)

	// The server looks for a free number itself and writes it to descriptor 3. It repeats no key (-r): on a
	// busy machine more time may pass between pressing one and letting it go than a person would take.
	r, w, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	server := exec.Command("Xvfb", "-displayfd", "3", "-screen", "0", fmt.Sprintf("%dx%dx24", width, height), "-noreset", "-r", "-nolisten", "tcp")
	server.ExtraFiles = []*os.File{w}
	complaints := &logFile{path: filepath.Join(d.home, "xvfb.log")}
	server.Stderr = complaints.open(t)
	dieWithUs(server)
	if err := server.Start(); err != nil {
		t.Fatal(err)
	}
	w.Close()
	t.Cleanup(func() {
		server.Process.Kill()
		server.Wait()
	})
	if err := r.SetReadDeadline(time.Now().Add(Patience)); err != nil {
		t.Fatal(err)
	}
	line, err := bufio.NewReader(r).ReadString('\n')
	if err != nil {
		t.Fatalf("Xvfb did not say its display: %v\n%s", err, complaints.tail())
	}
	d.name = ":" + strings.TrimSpace(line)
	xgb.Logger = log.New(io.Discard, "", 0) // it speaks of a missing .Xauthority, which is as it should be
	if d.conn, err = xgb.NewConnDisplay(d.name); err != nil {
		t.Fatalf("cannot reach display %s: %v", d.name, err)
	}
	t.Cleanup(d.conn.Close)
	return d
}

// Env is the environment of every program on the display: the caller's, with a home of its own, so
// that no setting of the person who runs the test counts and none is changed.
func (d *Display) Env() []string {
	var env []string
	for _, v := range os.Environ() {
		name, _, _ := strings.Cut(v, "=")
		switch {
		case strings.HasPrefix(name, "XDG_"), strings.HasPrefix(name, "LC_"), name == "WAYLAND_DISPLAY",
			name == "DBUS_SESSION_BUS_ADDRESS", name == "SESSION_MANAGER", name == "LANGUAGE":
		default:
			env = append(env, v)
		}
	}
	return append(env, "DISPLAY="+d.name, "HOME="+d.home, "TMPDIR="+d.temp(), "LANG=C.UTF-8", "LC_ALL=C.UTF-8",
		"XDG_CONFIG_HOME="+filepath.Join(d.home, "config"), "XDG_STATE_HOME="+filepath.Join(d.home, "state"),
		"XDG_CACHE_HOME="+filepath.Join(d.home, "cache"), "XDG_DATA_HOME="+filepath.Join(d.home, "data"),
		// Neither a session bus nor a portal: dialogs are the window's own.
		"DBUS_SESSION_BUS_ADDRESS=unix:path="+filepath.Join(d.home, "no-bus"))
}

// Home is the home folder of the programs on this display.
func (d *Display) Home() string { return d.home }

// Run starts a program of another kind on the display and returns the number of its process. It is killed
// at the end of the test.
func (d *Display) Run(program string, args ...string) (pid int) {
	d.t.Helper()
	cmd := exec.Command(program, args...)
	cmd.Env, cmd.Dir = d.Env(), d.home
	dieWithUs(cmd)
	if err := cmd.Start(); err != nil {
		d.t.Fatal(err)
	}
	d.t.Cleanup(func() {
		cmd.Process.Kill()
		cmd.Wait()
	})
	return cmd.Process.Pid
}

func (d *Display) temp() string { return filepath.Join(d.home, "tmp") }

// Leftovers lists what the programs on this display left in their folder for temporary files.
func (d *Display) Leftovers() []string {
	d.t.Helper()
	entries, err := os.ReadDir(d.temp())
	if err != nil {
		d.t.Fatal(err)
	}
	var names []string
	for _, e := range entries {
		names = append(names, e.Name())
	}
	return names
}

// Shot takes a picture of the screen; the name goes into the file's name. It returns the path.
func (d *Display) Shot(name string) string {
	d.t.Helper()
	path := d.picture(name)
	cmd := exec.Command("import", "-window", "root", path)
	cmd.Env = d.Env()
	if out, err := cmd.CombinedOutput(); err != nil {
		d.t.Errorf("no picture %s: %v\n%s", name, err, out)
	}
	return path
}

// Keep puts a picture that another program took beside those of Shot. It returns the path.
func (d *Display) Keep(picture, name string) string {
	d.t.Helper()
	path := d.picture(name)
	b, err := os.ReadFile(picture)
	if err == nil {
		err = os.WriteFile(path, b, 0o644)
	}
	if err != nil {
		d.t.Fatal(err)
	}
	return path
}

// picture is where the next picture goes.
func (d *Display) picture(name string) string {
	d.count++
	return filepath.Join(d.shots, fmt.Sprintf("%s-%d-%s.png", strings.ReplaceAll(d.t.Name(), "/", "-"), d.count, name))
}

// Press clicks a place of the screen and presses keys: for what runs on the display but whose window is no
// window of it.
func (d *Display) Press(x, y int, keys ...string) {
	d.t.Helper()
	d.xdotool(append([]string{"mousemove", strconv.Itoa(x), strconv.Itoa(y), "sleep", "0.1", "click", "1", "key", "--delay", "60"}, keys...)...)
}

// xdotool sends clicks and keys.
func (d *Display) xdotool(args ...string) {
	d.t.Helper()
	cmd := exec.Command("xdotool", args...)
	cmd.Env = d.Env()
	if out, err := cmd.CombinedOutput(); err != nil {
		d.t.Fatalf("xdotool %s: %v\n%s", strings.Join(args, " "), err, out)
	}
}

// dieWithUs has the system end a program as this one ends, however that is.
func dieWithUs(cmd *exec.Cmd) {
	cmd.SysProcAttr = &syscall.SysProcAttr{Pdeathsig: syscall.SIGKILL}
}

// A logFile takes what a program says, so that a failure can show the end of it.
type logFile struct{ path string }

func (l *logFile) open(t T) *os.File {
	t.Helper()
	f, err := os.Create(l.path)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { f.Close() })
	return f
}

func (l *logFile) tail() string {
	b, err := os.ReadFile(l.path)
	if err != nil {
		return err.Error()
	}
	return string(b[max(0, len(b)-2000):])
}
