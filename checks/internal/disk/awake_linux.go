package disk

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/godbus/dbus/v5"
	"golang.org/x/sys/unix"
)

// busPatience is how long a service may take to answer, and to start where it is not running yet.
const busPatience = 10 * time.Second

// appName is who keeps the computer awake.
const appName = "Loadline"

// keepAwake asks logind, which knows of sleep whoever wants it, or else the desktop.
func keepAwake(reason string) (release func(), means string, err error) {
	ctx, cancel := context.WithTimeout(context.Background(), busPatience)
	defer cancel()
	release, err = inhibitByLogind(ctx, reason)
	if err == nil {
		return release, "logind", nil
	}
	ctx, cancel = context.WithTimeout(context.Background(), busPatience)
	defer cancel()
	release, perr := inhibitByPortal(ctx, reason)
	if perr == nil {
		return release, "desktop portal", nil
	}
	return nil, "", fmt.Errorf("logind: %w; desktop portal: %w", err, perr)
}

// inhibitByLogind takes a lock that lasts for as long as a descriptor is open
// (org.freedesktop.login1(5), Inhibit).
func inhibitByLogind(ctx context.Context, reason string) (release func(), err error) {
	conn, err := systemBus(ctx)
	if err != nil {
		return nil, err
	}
	defer conn.Close()
	if !conn.SupportsUnixFDs() {
		return nil, errors.New("the bus passes no descriptors")
	}
	var lock dbus.UnixFD
	err = conn.Object("org.freedesktop.login1", "/org/freedesktop/login1").
		CallWithContext(ctx, "org.freedesktop.login1.Manager.Inhibit", 0, "idle:sleep", appName, reason, "block").Store(&lock)
	if err != nil {
		return nil, err
	}
	unix.CloseOnExec(int(lock)) // a program that outlives this one must not hold it
	return func() { _ = unix.Close(int(lock)) }, nil
}

// Flags of org.freedesktop.portal.Inhibit.
const (
	portalSuspend = 4
	portalIdle    = 8
)

// inhibitByPortal asks the desktop. That lasts for as long as the connection, and counts only once the desktop
// has said so: where the person forbade it, the call goes well and no response ever comes (xdg-desktop-portal,
// src/inhibit.c).
func inhibitByPortal(ctx context.Context, reason string) (release func(), err error) {
	conn, err := sessionBus(ctx)
	if err != nil {
		return nil, err
	}
	defer func() {
		if err != nil {
			_ = conn.Close()
		}
	}()
	const portal, request = "org.freedesktop.portal.Desktop", "org.freedesktop.portal.Request"
	responses := make(chan *dbus.Signal, 8)
	conn.Signal(responses)
	if err := conn.AddMatchSignalContext(ctx, dbus.WithMatchInterface(request), dbus.WithMatchMember("Response"), dbus.WithMatchSender(portal)); err != nil {
		return nil, err
	}
	var handle dbus.ObjectPath
	err = conn.Object(portal, "/org/freedesktop/portal/desktop").
		CallWithContext(ctx, "org.freedesktop.portal.Inhibit.Inhibit", 0, "", uint32(portalSuspend|portalIdle),
			map[string]dbus.Variant{"reason": dbus.MakeVariant(reason)}).Store(&handle)
	if err != nil {
		return nil, err
	}
	for {
		select {
		case s := <-responses:
			if s == nil {
				return nil, errors.New("the desktop's bus has gone")
			}
			if s.Path != handle || s.Name != request+".Response" {
				continue
			}
			var code uint32
			var results map[string]dbus.Variant
			if err := dbus.Store(s.Body, &code, &results); err != nil {
				return nil, err
			}
			if code != 0 {
				return nil, fmt.Errorf("the desktop refused (response %d)", code)
			}
			conn.RemoveSignal(responses)
			return func() {
				_ = conn.Object(portal, handle).Go(request+".Close", dbus.FlagNoReplyExpected, nil).Err
				_ = conn.Close() // this alone is enough
			}, nil
		case <-ctx.Done():
			return nil, errors.New("the desktop does not say that it will")
		}
	}
}
