package disk

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"os"
	"os/exec"
	"strings"
	"testing"

	"loadline/checks/internal/fixture"

	"github.com/godbus/dbus/v5"
)

const (
	login     = "org.freedesktop.login1"
	loginPath = "/org/freedesktop/login1"
)

// inhibitors are the locks that logind's stand-in knows of. It sees for itself whether one is still held.
func inhibitors(t testing.TB, conn *dbus.Conn) string {
	t.Helper()
	return fmt.Sprint(call(t, conn, login, loginPath, login+".Manager.ListInhibitors"))
}

func TestAwakeByLogind(t *testing.T) {
	conn := bus(t)
	mock(t, conn, login, "--system", "--template", "logind")
	if got := inhibitors(t, conn); got != "[[]]" {
		t.Fatalf("before: %s", got)
	}
	release, means, err := Awake("Reading the whole disk")
	if err != nil || means != "logind" {
		t.Fatalf("%q, %v", means, err)
	}
	if got, want := inhibitors(t, conn), "idle:sleep Loadline Reading the whole disk block"; !strings.Contains(got, want) {
		t.Errorf("held: %s, want %s", got, want)
	}
	release()
	release() // more than once does no harm
	eventually(t, "released", func() bool { return inhibitors(t, conn) == "[[]]" })
}

// TestMain lets a test run this program as somebody who holds the computer awake and is killed.
func TestMain(m *testing.M) {
	if os.Getenv("LOADLINE_DISK_HOLD") != "" {
		_, means, err := Awake("Reading the whole disk")
		fmt.Println(means, err)
		_, _ = io.Copy(io.Discard, os.Stdin) // until somebody ends it
		os.Exit(0)
	}
	os.Exit(m.Run())
}

// Killed, a process lets go; so do the programs that it has started and that outlive it.
func TestAwakeKilled(t *testing.T) {
	conn := bus(t)
	mock(t, conn, login, "--system", "--template", "logind")
	holder := exec.CommandContext(t.Context(), "/proc/self/exe")
	holder.Env = append(os.Environ(), "LOADLINE_DISK_HOLD=1")
	in, err := holder.StdinPipe()
	fixture.Must(t, err)
	defer in.Close()
	out, err := holder.StdoutPipe()
	fixture.Must(t, err)
	fixture.Must(t, holder.Start())
	line, err := bufio.NewReader(out).ReadString('\n')
	if err != nil || line != "logind <nil>\n" {
		t.Fatalf("%q, %v", line, err)
	}
	if got := inhibitors(t, conn); !strings.Contains(got, "idle:sleep") {
		t.Fatalf("held: %s", got)
	}
	fixture.Must(t, holder.Process.Kill())
	_ = holder.Wait()
	eventually(t, "released", func() bool { return inhibitors(t, conn) == "[[]]" })
}

const (
	portalName = "org.freedesktop.portal.Desktop"
	portalPath = "/org/freedesktop/portal/desktop"
)

// portal stands in for a desktop that answers with a response, or not at all (-1), as the documentation of
// org.freedesktop.portal.Inhibit and .Request describes.
func portal(t *testing.T, conn *dbus.Conn, response int) {
	t.Helper()
	mock(t, conn, portalName, "--session", portalName, portalPath, "org.freedesktop.portal.Inhibit")
	code := "path = '" + portalPath + "/request/1_1/t'\n" +
		"self.AddObject(path, 'org.freedesktop.portal.Request', {}, [('Close', '', '', '')])\n"
	if response >= 0 {
		code += fmt.Sprintf("objects[path].EmitSignal('org.freedesktop.portal.Request', 'Response', 'ua{sv}', [dbus.UInt32(%d), dbus.Dictionary({}, signature='sv')])\n", response)
	}
	code += "ret = dbus.ObjectPath(path)"
	call(t, conn, portalName, portalPath, "org.freedesktop.DBus.Mock.AddMethod", "org.freedesktop.portal.Inhibit", "Inhibit", "sua{sv}", "o", code)
}

func TestAwakeByPortal(t *testing.T) {
	conn := bus(t)
	portal(t, conn, 0)
	release, means, err := Awake("Reading the whole disk")
	if err != nil || means != "desktop portal" {
		t.Fatalf("%q, %v", means, err)
	}
	calls := fmt.Sprint(call(t, conn, portalName, portalPath, "org.freedesktop.DBus.Mock.GetMethodCalls", "Inhibit"))
	// 12 is 4, suspend, and 8, idle (documentation of org.freedesktop.portal.Inhibit).
	if !strings.Contains(calls, "12") || !strings.Contains(calls, "Reading the whole disk") {
		t.Errorf("called: %s", calls)
	}
	release()
	eventually(t, "closed", func() bool {
		return fmt.Sprint(call(t, conn, portalName, portalPath+"/request/1_1/t", "org.freedesktop.DBus.Mock.GetMethodCalls", "Close")) != "[[]]"
	})
}

// A desktop that refuses is not a desktop that holds.
func TestAwakeRefused(t *testing.T) {
	conn := bus(t)
	portal(t, conn, 2)
	release, means, err := Awake("Reading the whole disk")
	if err == nil || means != "" || !strings.Contains(err.Error(), "refused") {
		t.Errorf("%q, %v", means, err)
	}
	release()
}

// A desktop whose owner forbade it takes the call and never responds.
func TestAwakeForbidden(t *testing.T) {
	conn := bus(t)
	portal(t, conn, -1)
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	done := make(chan error, 1)
	go func() {
		_, err := inhibitByPortal(ctx, "Reading the whole disk")
		done <- err
	}()
	eventually(t, "called", func() bool {
		return fmt.Sprint(call(t, conn, portalName, portalPath, "org.freedesktop.DBus.Mock.GetMethodCalls", "Inhibit")) != "[[]]"
	})
	cancel()
	if err := <-done; err == nil {
		t.Error("held without a response")
	}
}

// The arguments are those of caffeinate(8): -i, no idle sleep; -w, for as long as a process lives.
func TestCaffeinate(t *testing.T) {
	program, args := caffeinate(4711)
	if got := program + " " + strings.Join(args, " "); got != "/usr/bin/caffeinate -i -w 4711" {
		t.Error(got)
	}
}
