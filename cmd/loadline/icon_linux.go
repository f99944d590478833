package main

import (
	"os"

	"github.com/godbus/dbus/v5"
)

// desktopID is the name of the desktop entry, by which docks know whose icon a signal is about.
const desktopID = "loadline.desktop"

// icon shows on the program's icon, in docks and task bars that listen, how far a run is: the signal Update of
// com.canonical.Unity.LauncherEntry (wiki.ubuntu.com/Unity/LauncherAPI, "Low level DBus API"). Nobody answers it.
type icon struct {
	next chan float64 // the newest only
}

func newIcon() *icon {
	i := &icon{next: make(chan float64, 1)}
	go i.tell()
	return i
}

// show shows a part from 0 to 1, or below 0 nothing. It never waits; one goroutine calls it.
func (i *icon) show(part float64) {
	select {
	case <-i.next:
	default:
	}
	i.next <- part
}

func (i *icon) tell() {
	var bus *dbus.Conn
	for part := range i.next {
		if bus == nil {
			var err error
			// Without an address the library would start a bus.
			if bus, err = dbus.Connect(os.Getenv("DBUS_SESSION_BUS_ADDRESS")); err != nil {
				bus = nil // no desktop, or none yet
				continue
			}
		}
		// A signal that is lost takes nothing from the run: the title says the same.
		_ = bus.Emit("/loadline", "com.canonical.Unity.LauncherEntry.Update", "application://"+desktopID, map[string]dbus.Variant{
			"progress":         dbus.MakeVariant(max(part, 0)),
			"progress-visible": dbus.MakeVariant(part >= 0),
		})
	}
}
