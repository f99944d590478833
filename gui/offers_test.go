package gui

import (
	"context"
	"testing"

	"fyne.io/fyne/v2/test"

	"loadline/checks/share"
	"loadline/gui/kit"
)

// With nothing chosen, what is mounted is offered: disks beside the source, shares beside the share, one
// press each. What is plugged in later comes, what is taken away goes.
func TestOffers(t *testing.T) {
	r := newRig(t, 1280, 800, kit.Light)
	disk := Offer{Path: "/media/REEL 01", Type: "exfat", Total: 2_000_000_000_000}
	box := Offer{Path: "/mnt/box", Type: "nfs4", Total: 8_000_000_000_000, Network: true}
	mounted := []Offer{disk}
	asked := 0
	r.desktop.Offers = func(context.Context) []Offer { asked++; return mounted }
	r.watchMounts()
	s := r.view().setup
	r.until("a disk", func() bool { return len(s.from.offers.Objects) == 1 })
	if b := s.from.offers.Objects[0].(*kit.Button); !s.from.offers.Visible() || b.Label != "REEL 01  2.0 TB  exfat" {
		t.Errorf("offered is %q", b.Label)
	}
	if s.to.offers.Visible() {
		t.Error("a disk is no share")
	}
	mounted = []Offer{box, disk}
	r.until("the first look", func() bool { return r.waiting() > 0 && asked == 1 })
	r.fire()
	r.until("a share", func() bool { return s.to.offers.Visible() })
	test.Tap(s.from.offers.Objects[0].(*kit.Button))
	test.Tap(s.to.offers.Objects[0].(*kit.Button))
	if s.from.get() != disk.Path || s.to.get() != box.Path {
		t.Errorf("chosen: %q and %q", s.from.get(), s.to.get())
	}
	if s.from.offers.Visible() || s.to.offers.Visible() {
		t.Error("what is chosen needs no offers")
	}
	mounted = nil
	s.from.path.SetText("")
	if !s.from.offers.Visible() {
		t.Error("with the field emptied the disk is on offer again")
	}
	r.fire()
	r.until("nothing", func() bool { return !s.from.offers.Visible() })
}

// The dialog begins where the offered disks are, and at what is chosen once something is.
func TestChooserStart(t *testing.T) {
	r := newRig(t, 1280, 800, kit.Light)
	p := r.view().setup.from
	if p.start() != "" {
		t.Errorf("with nothing on offer it starts at %q", p.start())
	}
	p.offer([]Offer{{Path: "/Volumes/REEL 01"}})
	if p.start() != "/Volumes" {
		t.Errorf("it starts at %q", p.start())
	}
	p.put("/media/other")
	if p.start() != "/media/other" {
		t.Errorf("it starts at %q", p.start())
	}
}

// Rows that a person has mounted, and the system's own: rows as proc(5), mount(8) of macOS and Windows
// show them; the values are invented.
func TestOfferable(t *testing.T) {
	for _, c := range []struct {
		from, point, kind string
		want              bool
	}{
		{"/dev/sdb1", "/media/ann/REEL 01", "exfat", true},
		{"/dev/sdb1", "/run/media/ann/REEL 01", "exfat", true},
		{"/dev/disk4s1", "/Volumes/REEL 01", "apfs", true},
		{"box:/archive", "/mnt/box", "nfs4", true},
		{"//box/archive", "/mnt/box", "cifs", true},
		{"E:", `E:\`, "exfat", true},
		{"/dev/sda2", "/", "ext4", false},
		{"/dev/sda1", "/boot/efi", "vfat", false},
		{"/dev/sda3", "/home", "ext4", false},
		{"/dev/disk3s5", "/System/Volumes/Data", "apfs", false},
		{"/dev/loop3", "/mnt/image", "squashfs", false},
		{"tmpfs", "/run/user/1000", "tmpfs", false},
		{"proc", "/proc", "proc", false},
		{"overlay", "/mnt/x", "overlay", false},
	} {
		if got := offerable(&share.Mount{From: c.from, Point: c.point, Type: c.kind}); got != c.want {
			t.Errorf("%s on %s (%s): %v, want %v", c.from, c.point, c.kind, got, c.want)
		}
	}
}

// A place is looked at once for as long as it stays mounted.
func TestOffererLooksOnce(t *testing.T) {
	l := &offerer{known: map[string]*Offer{}}
	rows, err := share.Mounts(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	first := l.list(t.Context())
	for key := range l.known { // found otherwise, it would be looked at again
		l.known[key] = &Offer{Path: key}
	}
	if n := len(l.known); n > 0 {
		again := l.list(t.Context())
		for _, o := range again {
			if l.known[o.Path] == nil {
				t.Errorf("%s was looked at again", o.Path)
			}
		}
	}
	for _, o := range first {
		if o.Path == "/" {
			t.Error("the system's own disk is offered")
		}
	}
	if len(rows) == 0 {
		t.Error("this system has no mount table")
	}
}
