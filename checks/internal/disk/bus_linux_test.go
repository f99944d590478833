package disk

import (
	"bufio"
	"bytes"
	"context"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"loadline/checks/internal/fixture"

	"github.com/godbus/dbus/v5"
)

// soon is how long what must not hang may take on a busy machine.
const soon = 60 * time.Second

// bus starts a bus of the test's own and has system and session be on it.
func bus(t *testing.T) *dbus.Conn {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	daemon := exec.CommandContext(ctx, "dbus-daemon", "--session", "--nofork", "--nopidfile", "--print-address=1",
		"--address=unix:dir="+t.TempDir())
	out, err := daemon.StdoutPipe()
	fixture.Must(t, err)
	fixture.Must(t, daemon.Start())
	t.Cleanup(func() { cancel(); _ = daemon.Wait() })
	address, err := bufio.NewReader(out).ReadString('\n')
	fixture.Must(t, err)
	address = strings.TrimSpace(address)
	t.Setenv("DBUS_SYSTEM_BUS_ADDRESS", address)
	t.Setenv("DBUS_SESSION_BUS_ADDRESS", address)
	conn, err := dbus.Connect(address)
	fixture.Must(t, err)
	t.Cleanup(func() { _ = conn.Close() })
	return conn
}

// mock starts a service of python3-dbusmock and waits until it has its name.
func mock(t *testing.T, conn *dbus.Conn, name string, args ...string) {
	t.Helper()
	signals := make(chan *dbus.Signal, 64)
	conn.Signal(signals)
	defer conn.RemoveSignal(signals)
	match := []dbus.MatchOption{dbus.WithMatchInterface("org.freedesktop.DBus"), dbus.WithMatchMember("NameOwnerChanged"), dbus.WithMatchArg(0, name)}
	fixture.Must(t, conn.AddMatchSignal(match...))
	defer func() { _ = conn.RemoveMatchSignal(match...) }()
	ctx, cancel := context.WithCancel(context.Background())
	// Debian's interpreter is the one that has the package.
	service := exec.CommandContext(ctx, "/usr/bin/python3", append([]string{"-m", "dbusmock"}, args...)...)
	var said bytes.Buffer
	service.Stdout, service.Stderr = &said, &said
	fixture.Must(t, service.Start())
	ended := make(chan struct{})
	go func() { _ = service.Wait(); close(ended) }()
	t.Cleanup(func() { cancel(); <-ended })
	late := time.After(soon)
	for {
		select {
		case s := <-signals:
			if len(s.Body) == 3 && s.Body[0] == name && s.Body[2] != "" {
				return
			}
		case <-ended:
			t.Fatalf("python3-dbusmock ended (apt-get install python3-dbusmock dbus-daemon):\n%s", said.String())
		case <-late:
			t.Fatal("python3-dbusmock does not start")
		}
	}
}

func call(t testing.TB, conn *dbus.Conn, name, path, method string, args ...any) []any {
	t.Helper()
	c := conn.Object(name, dbus.ObjectPath(path)).Call(method, 0, args...)
	if c.Err != nil {
		t.Fatalf("%s: %v", method, c.Err)
	}
	return c.Body
}

// eventually waits until something holds; each look is a call that takes its own time.
func eventually(t testing.TB, what string, holds func() bool) {
	t.Helper()
	for end := time.Now().Add(soon); !holds(); {
		if time.Now().After(end) {
			t.Fatalf("%s: not within %v", what, soon)
		}
	}
}

// A bus that takes connections and says nothing must not hold anybody up.
func TestSilentBus(t *testing.T) {
	never := make(chan struct{})
	defer close(never)
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if conn, err := connected(ctx, func() (*dbus.Conn, error) { <-never; return nil, nil }); conn != nil || err == nil {
		t.Errorf("%v, %v", conn, err)
	}
}

// Where there is no bus there is none started.
func TestNoBus(t *testing.T) {
	dir := t.TempDir()
	t.Setenv("DBUS_SYSTEM_BUS_ADDRESS", "unix:path="+filepath.Join(dir, "none"))
	t.Setenv("DBUS_SESSION_BUS_ADDRESS", "")
	t.Setenv("XDG_RUNTIME_DIR", dir)
	release, means, err := Awake("Reading the whole disk")
	if err == nil || means != "" {
		t.Errorf("%q, %v", means, err)
	}
	release()
	if list, err := os.ReadDir(dir); err != nil || len(list) > 0 {
		t.Errorf("%v, %v", list, err)
	}
}
