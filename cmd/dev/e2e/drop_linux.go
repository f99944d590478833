package e2e

import (
	"net/url"
	"strings"
	"time"

	"github.com/jezek/xgb"
	"github.com/jezek/xgb/xproto"
)

// Drop drops files or folders on an element, by the drag-and-drop protocol for X, version 5
// (freedesktop.org, XDND). The pointer itself does not move.
func (w *Window) Drop(element string, paths ...string) {
	t := w.t
	t.Helper()
	x, y := w.Where(element)
	var list strings.Builder
	for _, p := range paths {
		list.WriteString((&url.URL{Scheme: "file", Path: p}).String() + "\r\n")
	}
	// A connection of its own: events that are not for this drop cannot get in between.
	conn, err := xgb.NewConnDisplay(w.name)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	own, err := xproto.NewWindowId(conn)
	if err != nil {
		t.Fatal(err)
	}
	root := xproto.Setup(conn).DefaultScreen(conn).Root
	if err := xproto.CreateWindowChecked(conn, 0, own, root, 0, 0, 1, 1, 0, xproto.WindowClassInputOnly, 0, 0, nil).Check(); err != nil {
		t.Fatal(err)
	}
	kind := w.atom("text/uri-list")
	if err := xproto.SetSelectionOwnerChecked(conn, own, w.atom("XdndSelection"), xproto.TimeCurrentTime).Check(); err != nil {
		t.Fatal(err)
	}
	w.send("XdndEnter", uint32(own), 5<<24, uint32(kind))
	w.send("XdndPosition", uint32(own), 0, uint32(x)<<16|uint32(y), 0, uint32(w.atom("XdndActionCopy")))

	status, finished := w.atom("XdndStatus"), w.atom("XdndFinished")
	events := make(chan xgb.Event)
	over := make(chan struct{})
	defer close(over)
	go func() {
		for {
			e, err := conn.WaitForEvent()
			if e == nil && err == nil {
				return // the connection was closed
			}
			select {
			case events <- e:
			case <-over:
				return
			}
		}
	}()
	end := time.After(Patience)
	for {
		select {
		case e := <-events:
			switch e := e.(type) {
			case xproto.ClientMessageEvent:
				switch e.Type {
				case status:
					if e.Data.Data32[1]&1 == 0 {
						t.Fatalf("the window refuses the drop on %s", element)
					}
					w.send("XdndDrop", uint32(own), 0, 0)
				case finished:
					return
				}
			case xproto.SelectionRequestEvent:
				xproto.ChangeProperty(conn, xproto.PropModeReplace, e.Requestor, e.Property, kind, 8, uint32(list.Len()), []byte(list.String()))
				n := xproto.SelectionNotifyEvent{Time: e.Time, Requestor: e.Requestor, Selection: e.Selection, Target: e.Target, Property: e.Property}
				xproto.SendEvent(conn, false, e.Requestor, 0, string(n.Bytes()))
			}
		case <-w.ended:
			t.Fatalf("the window ended during the drop: %v", w.err)
		case <-end:
			t.Fatalf("the window did not take the drop within %s; picture: %s", Patience, w.Shot("drop"))
		}
	}
}

// send sends the window a client message with up to five numbers.
func (w *Window) send(kind string, data ...uint32) {
	w.t.Helper()
	for len(data) < 5 {
		data = append(data, 0)
	}
	e := xproto.ClientMessageEvent{
		Format: 32, Window: w.id, Type: w.atom(kind),
		Data: xproto.ClientMessageDataUnionData32New(data),
	}
	if err := xproto.SendEventChecked(w.conn, false, w.id, 0, string(e.Bytes())).Check(); err != nil {
		w.t.Fatalf("%s: %v", kind, err)
	}
}

func (d *Display) atom(name string) xproto.Atom {
	d.t.Helper()
	r, err := xproto.InternAtom(d.conn, false, uint16(len(name)), name).Reply()
	if err != nil {
		d.t.Fatal(err)
	}
	return r.Atom
}

// dropTarget is the visible window that says it takes drops: with one program on the display, that
// is the program's. 0 if there is none yet.
func (d *Display) dropTarget() xproto.Window {
	aware := d.atom("XdndAware")
	var find func(xproto.Window) xproto.Window
	find = func(id xproto.Window) xproto.Window {
		p, err := xproto.GetProperty(d.conn, false, id, aware, xproto.GetPropertyTypeAny, 0, 1).Reply()
		if err == nil && len(p.Value) > 0 {
			if a, err := xproto.GetWindowAttributes(d.conn, id).Reply(); err == nil && a.MapState == xproto.MapStateViewable {
				return id
			}
		}
		tree, err := xproto.QueryTree(d.conn, id).Reply()
		if err != nil {
			return 0
		}
		for _, c := range tree.Children {
			if r := find(c); r != 0 {
				return r
			}
		}
		return 0
	}
	return find(xproto.Setup(d.conn).DefaultScreen(d.conn).Root)
}
