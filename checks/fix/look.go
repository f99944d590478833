package fix

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"loadline/checks"
	"loadline/checks/before"
	"loadline/checks/names"
	"loadline/checks/share"
	"loadline/checks/walk"
)

// scout is what one worker of the walk finds.
type scout struct {
	twins   names.Twins
	folders []*folder
	left    []Left
}

// look walks over the source once.
func (p *Plan) look(ctx context.Context, progress *walk.Progress) error {
	o := walk.Options{Progress: progress}
	o.Workers = o.Resolve(p.Source)
	scouts := make([]scout, o.Workers)
	o.Visit = func(d *walk.Dir) { scouts[d.Worker].visit(p, d) }
	if err := walk.Walk(ctx, p.Source, o); err != nil {
		return fmt.Errorf("cannot read the source: %w", err)
	}
	for i := range scouts {
		for _, f := range scouts[i].folders {
			p.folders[f.path] = f
		}
		p.Left = append(p.Left, scouts[i].left...)
	}
	if p.folders[""] == nil {
		return fmt.Errorf("cannot read the source: %w", fs.ErrNotExist)
	}
	return nil
}

func (s *scout) visit(p *Plan, d *walk.Dir) {
	_, last := parent(d.Path)
	f := &folder{path: d.Path, device: d.Device, clutter: d.Path != "" && names.Clutter(last)}
	s.folders = append(s.folders, f)
	if d.Err != nil {
		s.left = append(s.left, Left{
			Path: d.Path, Rules: []string{ruleFolderUnreadable}, Offers: []Offer{OfferSkip},
			Why: "the folder cannot be listed: " + errText(d.Err),
		})
	}
	if d.Depth > names.DepthMax && d.Depth == names.DepthMax+1 {
		s.left = append(s.left, Left{
			Path: d.Path, Rules: []string{"too-deep"},
			Why: fmt.Sprintf("the folder is %d deep, %d are workable: move it up by hand, a rename cannot", d.Depth, names.DepthMax),
		})
	}
	attention := false
	for i := range d.Entries {
		e := &d.Entries[i]
		f.marks.see(d, e)
		if e.Kind != walk.Folder {
			f.longest = max(f.longest, len(e.Name))
		}
		if d.Path == "" && Ours(e.Name) {
			continue
		}
		if p.Limits.broken(e.Name) != nil {
			attention = true
		}
		s.entry(p, d, e)
	}
	if !attention {
		s.twins.Find(len(d.Entries), func(i int) string { return d.Entries[i].Name },
			func(i int) names.Traits { return names.Look(d.Entries[i].Name) },
			func(names.TwinKind, []int) { attention = true })
	}
	if !attention {
		return
	}
	for i := range d.Entries {
		e := &d.Entries[i]
		f.entries = append(f.entries, &entry{
			name: e.Name, to: e.Name, kind: e.Kind, size: e.Size, mount: e.MountRoot,
			id: identity{Kind: e.Kind, Device: d.Device, Inode: e.Inode, Size: e.Size, Sec: e.Sec, Nsec: e.Nsec},
		})
	}
	f.order()
}

func (f *folder) order() {
	slices.SortFunc(f.entries, func(a, b *entry) int { return cmp.Compare(a.name, b.name) })
}

// The rules of what a rename does not cure.
const (
	ruleFolderUnreadable = "folder-unreadable"
	ruleFileUnreadable   = "file-unreadable"
)

// entry records what is wrong with an entry that no rename cures.
func (s *scout) entry(p *Plan, d *walk.Dir, e *walk.Entry) {
	l := Left{Path: d.Join(e.Name), Offers: []Offer{OfferSkip}}
	if e.Kind == walk.File {
		l.Size = e.Size
	}
	if rule, why := refuse(d, e); rule != "" {
		l.Rules, l.Why = []string{rule}, why
		if e.Kind == walk.Link {
			l.Target, _ = d.Readlink(e.Name)
		}
		if rule == ruleFileUnreadable && e.Kind == walk.Folder {
			l.Rules = []string{ruleFolderUnreadable}
		}
		s.left = append(s.left, l)
	} else if l, ok := p.respelled(d, e); ok {
		s.left = append(s.left, l)
	}
}

// refuse says why an entry would not be copied as it is, whatever its name: the rule and the
// reason; "" if it would. Folders are entered, so only clutter and missing rights speak of them.
func refuse(d *walk.Dir, e *walk.Entry) (rule, why string) {
	switch {
	case e.Failed:
		return ruleFileUnreadable, "it cannot be looked at: " + errText(d.Why(e.Name))
	case e.Kind == walk.Link:
		return "link", "" // judged by linkRule where there is a root to resolve it in
	case e.Kind == walk.Other:
		return "special-file", "it is neither a file nor a folder: a pipe, a socket or a device"
	case e.Kind == walk.Folder:
		if names.Clutter(e.Name) {
			return "desktop-clutter", "the system keeps notes of its own here"
		}
		return "", "" // an unreadable one is visited with its error
	case names.Clutter(e.Name):
		return "desktop-clutter", "the system keeps notes of its own here"
	case names.Unfinished(e.Name) != "":
		return "unfinished-file", "by its name it is the remains of a download or copy that was cut off"
	case strings.HasPrefix(e.Name, companion) && checks.IsAppleDouble(d, e):
		return "apple-double", "it holds the attributes of another file, and nothing of its content"
	}
	if err := d.Access(e.Name); err != nil {
		return ruleFileUnreadable, missing(e, err)
	}
	return "", ""
}

// missing says which permission is missing.
func missing(e *walk.Entry, err error) string {
	if !errors.Is(err, fs.ErrPermission) {
		return "it cannot be read: " + errText(err)
	}
	uid := os.Geteuid()
	if uid < 0 {
		return "you have no permission to read it"
	}
	who, bits := "others", e.Perm
	groups, _ := os.Getgroups()
	switch {
	case int(e.UID) == uid:
		who, bits = "its owner", e.Perm>>6
	case int(e.GID) == os.Getegid() || slices.Contains(groups, int(e.GID)):
		who, bits = "its group", e.Perm>>3
	}
	if bits&4 != 0 {
		return fmt.Sprintf("the mode %04o lets %s read it, but an access list or the system says no", e.Perm, who)
	}
	return fmt.Sprintf("the mode %04o (owner %d, group %d) gives no read permission to %s, and you are that (user %d)",
		e.Perm, e.UID, e.GID, who, uid)
}

func errText(err error) string {
	if err == nil {
		return "the system does not say why"
	}
	return cause(err).Error()
}

// judgeLinks completes what the walk found of links: the rule that each falls under, and whether a
// copy of what it points to could take its place.
func (p *Plan) judgeLinks(ctx context.Context) error {
	source, err := filepath.EvalSymlinks(p.Source)
	if err != nil {
		return fmt.Errorf("cannot read the source: %w", cause(err))
	}
	for i := range p.Left {
		l := &p.Left[i]
		if len(l.Rules) != 1 || l.Rules[0] != "link" {
			continue
		}
		if err := ctx.Err(); err != nil {
			return err
		}
		dir, _ := parent(l.Path)
		rule, detail := before.LinkRule(source, dir, l.Target, 0)
		end := endOf(ctx, source, l.Path)
		l.Rules, l.Why = []string{rule.ID}, "it "+detail+"; the link itself will not be an object"
		switch end {
		case endsInFile:
			l.Offers = append(l.Offers, OfferReplace)
			l.Why = "it " + detail + ", a file; the link itself will not be an object"
		case endsInFolder:
			l.Offers = append(l.Offers, OfferReplace)
			l.Why = "it " + detail + ", a folder; the link itself will not be an object"
		case endsAbove:
			l.Why = "it " + detail + ", a folder that it lies in itself: a copy would have to hold itself"
		}
	}
	return nil
}

// What a link leads to.
const (
	endsNowhere = iota // or in something that cannot be copied
	endsInFile
	endsInFolder
	endsAbove // in a folder above the link
)

// endOf follows a link wherever it leads, which may be a share whose server is gone.
func endOf(ctx context.Context, source, link string) int {
	end, err := share.Guard(ctx, 0, func() (int, error) {
		path := source + "/" + link
		info, err := os.Stat(path)
		switch {
		case err != nil:
			return endsNowhere, err
		case info.Mode().IsRegular():
			return endsInFile, nil
		case !info.IsDir():
			return endsNowhere, nil
		}
		for dir := filepath.Dir(path); ; dir = filepath.Dir(dir) {
			if above, err := os.Stat(dir); err == nil && os.SameFile(above, info) {
				return endsAbove, nil
			}
			if dir == filepath.Dir(dir) {
				return endsInFolder, nil
			}
		}
	})
	if err != nil {
		return endsNowhere
	}
	return end
}

// load reads the names of a folder once more, where the walk did not keep them.
func (p *Plan) load(f *folder) error {
	if f.entries != nil {
		return nil
	}
	dir, err := openIn(p.root, cmp.Or(f.path, "."))
	if err != nil {
		return err
	}
	defer dir.Close()
	list, err := dir.Readdirnames(-1)
	if err != nil {
		return err
	}
	for _, name := range list {
		if f.path == "" && Ours(name) {
			continue
		}
		info, err := p.root.Lstat(join(f.path, name))
		if err != nil {
			return err
		}
		e := &entry{name: name, to: name, id: identify(info)}
		e.kind, e.size = e.id.Kind, e.id.Size
		e.mount = e.kind == walk.Folder && e.id.Device != 0 && f.device != 0 && e.id.Device != f.device
		f.entries = append(f.entries, e)
	}
	f.order()
	return nil
}
