package main

import (
	"bufio"
	"os/exec"
	"strings"
	"testing"

	"github.com/godbus/dbus/v5"
)

// On a bus of the test's own, what is shown arrives as the signal that docks listen for, the newest last; the
// entry it names is the one that packages install.
func TestIcon(t *testing.T) {
	daemon := exec.CommandContext(t.Context(), "dbus-daemon", "--session", "--nofork", "--nopidfile", "--print-address=1", "--address=unix:dir="+t.TempDir())
	out, err := daemon.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := daemon.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = daemon.Process.Kill(); _ = daemon.Wait() })
	address, err := bufio.NewReader(out).ReadString('\n')
	if err != nil {
		t.Fatal(err)
	}
	t.Setenv("DBUS_SESSION_BUS_ADDRESS", strings.TrimSpace(address))
	dock, err := dbus.ConnectSessionBus()
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = dock.Close() })
	if err := dock.AddMatchSignal(dbus.WithMatchInterface("com.canonical.Unity.LauncherEntry"), dbus.WithMatchMember("Update")); err != nil {
		t.Fatal(err)
	}
	signals := make(chan *dbus.Signal, 16)
	dock.Signal(signals)

	i := newIcon()
	for _, c := range []struct {
		part, progress float64
		visible        bool
	}{{0.42, 0.42, true}, {0, 0, true}, {1, 1, true}, {-1, 0, false}} {
		i.show(c.part)
		s := <-signals
		var uri string
		var what map[string]dbus.Variant
		if err := dbus.Store(s.Body, &uri, &what); err != nil {
			t.Fatal(err)
		}
		if uri != "application://loadline.desktop" || what["progress"].Value() != c.progress || what["progress-visible"].Value() != c.visible {
			t.Errorf("%v arrives as %q %v", c.part, uri, what)
		}
	}
	close(i.next)
}

// Without a desktop nothing waits.
func TestIconWithoutADesktop(t *testing.T) {
	t.Setenv("DBUS_SESSION_BUS_ADDRESS", "unix:path="+t.TempDir()+"/none")
	i := newIcon()
	for n := range 100 {
		i.show(float64(n) / 100)
	}
	close(i.next)
}
