package gui

import (
	"cmp"
	"context"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"loadline/checks"
	"loadline/checks/names"
	"loadline/checks/share"
)

// Offer is a disk or a network share that is mounted, to be chosen by one press.
type Offer struct {
	Path    string
	Type    string // of the file system
	Total   int64  // bytes; negative where unknown
	Network bool
}

// label says which one it is: by name, size and kind.
func (o Offer) label() string {
	parts := []string{names.Quote(filepath.Base(o.Path))}
	if o.Total > 0 {
		parts = append(parts, checks.Bytes(o.Total))
	}
	if o.Type != "" {
		parts = append(parts, o.Type)
	}
	return strings.Join(parts, "  ")
}

// offersEvery is how often the mount table is looked at while a place is wanted. Reading it touches no
// file system.
const offersEvery = 2 * time.Second

// offerDeadline is how long a place may stay silent before it is offered without its size.
const offerDeadline = 2 * time.Second

// offerer lists what can be offered. A place is looked at once, not every time: a share that is silent
// must not be asked again and again.
type offerer struct {
	known map[string]*Offer // by row of the mount table; nil is not to be offered
}

// list returns what is mounted now. One call at a time.
func (l *offerer) list(ctx context.Context) []Offer {
	rows, err := share.Mounts(ctx)
	if err != nil {
		return nil
	}
	seen := map[string]*Offer{}
	for i := range rows {
		m := &rows[i]
		if !offerable(m) {
			continue
		}
		key := m.From + "\x00" + m.Point + "\x00" + m.Type
		o, ok := l.known[key]
		if !ok {
			o = lookAtOffer(ctx, m)
		}
		seen[key] = o
	}
	l.known = seen
	var all []Offer
	for _, o := range seen {
		if o != nil {
			all = append(all, *o)
		}
	}
	slices.SortFunc(all, func(a, b Offer) int { return cmp.Compare(a.Path, b.Path) })
	return slices.CompactFunc(all, func(a, b Offer) bool { return a.Path == b.Path })
}

// offerable reports whether a row may be a disk or a share that a person has mounted. It goes by the row
// alone, without touching what is mounted.
func offerable(m *share.Mount) bool {
	p := filepath.ToSlash(m.Point)
	for _, own := range []string{"/boot", "/efi", "/usr", "/var", "/etc", "/home", "/opt", "/srv", "/tmp", "/nix", "/snap", "/dev", "/proc", "/sys", "/System", "/private"} {
		if p == own || strings.HasPrefix(p, own+"/") {
			return false
		}
	}
	switch {
	case p == "/", strings.HasPrefix(p, "/run/") && !strings.HasPrefix(p, "/run/media/"):
		return false
	case strings.HasPrefix(m.From, "/dev/loop"):
		return false
	case strings.HasPrefix(m.From, "/dev/"), strings.HasPrefix(m.From, "//"), strings.HasPrefix(m.From, `\\`):
		return true
	}
	return strings.Contains(m.From, ":/") || len(p) >= 2 && p[1] == ':' // host:/export, or a drive letter
}

// lookAtOffer asks a place for its size and what it is; nil if it is the system's own, or no folder.
func lookAtOffer(ctx context.Context, m *share.Mount) *Offer {
	f, err := share.Look(ctx, m.Point, offerDeadline)
	switch {
	case f == nil, f.System:
		return nil
	case err != nil && !share.Silent(err):
		return nil
	}
	return &Offer{Path: m.Point, Type: cmp.Or(f.Mount.Type, m.Type), Total: f.Space.Total, Network: f.Network}
}

// watchMounts keeps the offers up to date for as long as the window is there. It disturbs the window only
// where they have changed.
func (w *Window) watchMounts() {
	if w.desktop.Offers == nil {
		return
	}
	var last []Offer
	var look func()
	look = func() {
		if all := w.desktop.Offers(context.Background()); !slices.Equal(all, last) {
			last = all
			w.desktop.Post(func() { w.offerAll(all) })
		}
		w.desktop.After(offersEvery, func() { go look() })
	}
	go look()
}

func (w *Window) offerAll(all []Offer) {
	if w.gone {
		return
	}
	w.offers = all
	for _, s := range []checks.Stage{checks.Before, checks.After} {
		w.views[s].offer(all)
	}
}

// offer shows disks beside the source and network shares beside the share, where none is chosen yet.
func (v *view) offer(all []Offer) {
	var disks, shares []Offer
	for _, o := range all {
		if o.Network {
			shares = append(shares, o)
		} else {
			disks = append(disks, o)
		}
	}
	changed := v.setup.from.offer(disks)
	if v.setup.disks != nil {
		changed = v.setup.disks.offer(disks) || changed
	}
	if v.setup.to.offer(shares) || changed {
		v.relayout()
	}
}
