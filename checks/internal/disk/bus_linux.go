package disk

import (
	"context"
	"errors"
	"os"
	"path/filepath"

	"github.com/godbus/dbus/v5"
)

// systemBus connects to the bus of the system's services.
func systemBus(ctx context.Context) (*dbus.Conn, error) {
	return connected(ctx, func() (*dbus.Conn, error) { return dbus.ConnectSystemBus() })
}

// sessionBus connects to the bus of the person's desktop. It starts none where there is none.
func sessionBus(ctx context.Context) (*dbus.Conn, error) {
	address := os.Getenv("DBUS_SESSION_BUS_ADDRESS")
	if address == "" {
		socket := filepath.Join(os.Getenv("XDG_RUNTIME_DIR"), "bus")
		if info, err := os.Stat(socket); err != nil || info.Mode().Type() != os.ModeSocket {
			return nil, errors.New("no desktop session")
		}
		address = "unix:path=" + dbus.EscapeBusAddressValue(socket)
	}
	return connected(ctx, func() (*dbus.Conn, error) { return dbus.Connect(address) })
}

// connected gives up when the context ends: shaking hands with a bus that does not respond waits for ever.
func connected(ctx context.Context, connect func() (*dbus.Conn, error)) (*dbus.Conn, error) {
	type answer struct {
		conn *dbus.Conn
		err  error
	}
	c := make(chan answer, 1)
	go func() {
		conn, err := connect()
		c <- answer{conn, err}
	}()
	select {
	case a := <-c:
		return a.conn, a.err
	case <-ctx.Done():
		go func() {
			if a := <-c; a.conn != nil {
				_ = a.conn.Close() // too late for anybody to use
			}
		}()
		return nil, context.Cause(ctx)
	}
}
