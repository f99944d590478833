// Package selftest finds out what a system really does with a folder and a share, where Loadline relies on it: its
// document tells those who cannot sit at that machine. It holds no name of a person, a machine or a file.
package selftest

import (
	"bytes"
	"cmp"
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"sync/atomic"
	"time"

	"loadline/checks/internal/disk"
	"loadline/checks/share"
	"loadline/checks/walk"
)

// Schema grows when a key changes its meaning.
const Schema = 1

// A Document is all that was found out. Texts that begin with "error: " say why something could not be.
type Document struct {
	Tool    string `json:"tool"`
	Version string `json:"version"`
	Schema  int    `json:"selftest"`
	System  System `json:"system"`
	Awake   string `json:"awake"` // the means by which the computer is kept awake
	Folder  Place  `json:"folder"`
	Share   *Place `json:"share,omitempty"`
	// Interrupted is set where the person stopped it.
	Interrupted bool `json:"interrupted,omitempty"`
}

// System is what runs it.
type System struct {
	OS       string `json:"os"`
	Arch     string `json:"arch"`
	Kernel   string `json:"kernel"`
	Go       string `json:"go"`
	PageSize int    `json:"page_bytes"`
	CPUs     int    `json:"cpus"`
}

// Place is what was found of one folder.
type Place struct {
	Error   string         `json:"error,omitempty"`
	Mount   Mount          `json:"mount"`
	Medium  Medium         `json:"medium"`
	Walk    Walk           `json:"walk"`
	Files   Files          `json:"files"`
	Trial   map[string]any `json:"trial,omitempty"`
	Removed string         `json:"removed"` // "yes", or what stayed behind
}

// Mount is what the system says of where a folder lies. In Raw, names and addresses are replaced by words in capitals.
type Mount struct {
	Type      string   `json:"type"`
	Version   string   `json:"nfs_version,omitempty"`
	Network   bool     `json:"network"`
	System    bool     `json:"system_disk"`
	Options   []string `json:"options"`
	Status    []string `json:"status,omitempty"`
	NameLimit int      `json:"name_limit"`
	Inodes    bool     `json:"counts_inodes"`
	Raw       string   `json:"raw"`
}

// Medium is what the folder is on.
type Medium struct {
	Network        string  `json:"network"`
	Memory         bool    `json:"memory"`
	Rotates        string  `json:"rotates"`
	USB            string  `json:"usb"`
	USBMbps        int     `json:"usb_mbps"`
	Seconds        float64 `json:"seconds"` // that asking took
	Known          bool    `json:"identity_known"`
	LastingNumbers bool    `json:"lasting_file_numbers"`
	Workers        int     `json:"workers"`
}

// Walk is one pass over the folder.
type Walk struct {
	Folders   int64   `json:"folders"`
	Entries   int64   `json:"entries"`
	Failed    int64   `json:"failed"`
	Seconds   float64 `json:"seconds"`
	PerSecond float64 `json:"entries_per_second"`
	Error     string  `json:"error,omitempty"`
}

// Files is what files of our own were put through.
type Files struct {
	Eviction      string `json:"eviction"` // direct, evicted or none: whether reading passes the cache
	EvictionBy    string `json:"eviction_by"`
	MemorySeen    string `json:"memory_is_seen"` // what was just read is known to be in memory: only then an eviction proves something
	ReadBack      string `json:"read_back"`
	FlushFile     string `json:"flush_file"`
	FlushFolder   string `json:"flush_folder"`
	FlushAll      string `json:"flush_all"`
	RenameFree    string `json:"rename_to_free_name"`
	RenameTaken   string `json:"rename_to_taken_name"` // "refused" is good
	RenameAtomic  string `json:"rename_in_one_step"`
	Attributes    string `json:"attributes"`
	AccessLists   string `json:"access_lists"`
	AppleDouble   string `json:"attributes_in_extra_files"`
	Case          string `json:"case"`
	Forms         string `json:"normal_forms"`
	FileReplaced  string `json:"new_file_over_another"` // "refused" is good
	ChangedIsSeen string `json:"change_is_seen"`
}

// patience is how long a place may be silent.
const patience = 2 * time.Minute

// Run looks at a folder and, where there is one, a share. What it makes in them it removes.
func Run(ctx context.Context, version, folder, shareFolder string) *Document {
	d := &Document{
		Tool: "loadline", Version: version, Schema: Schema,
		System: System{runtime.GOOS, runtime.GOARCH, kernel(), runtime.Version(), os.Getpagesize(), runtime.NumCPU()},
	}
	release, means, err := disk.Awake("Looking at what this system does")
	release()
	d.Awake = means
	if err != nil {
		d.Awake = failed(err, folder)
	}
	d.Folder = describeFolder(ctx, folder)
	if shareFolder != "" {
		p := describeFolder(ctx, shareFolder)
		d.Share = &p
	}
	d.Interrupted = ctx.Err() != nil
	return d
}

// describeFolder looks at one folder.
func describeFolder(ctx context.Context, folder string) (p Place) {
	p.Removed = "yes"
	facts, err := share.Look(ctx, folder, patience)
	if err != nil {
		p.Error = failed(err, folder)
		return p
	}
	m := &facts.Mount
	hide := newHider(facts)
	p.Mount = Mount{
		Type: m.Type, Version: facts.Version, Network: facts.Network, System: facts.System, Status: m.Status,
		Options: []string{}, NameLimit: facts.Space.NameLimit, Inodes: facts.Space.TotalInodes > 0, Raw: hide.text(share.RawMount(ctx, m)),
	}
	for _, o := range m.Options {
		p.Mount.Options = append(p.Mount.Options, hide.text(o))
	}
	p.Medium = medium(ctx, facts.Path)
	p.Walk = pass(ctx, facts.Path)
	files, err := share.Guard(ctx, patience, func() (Files, error) { return files(facts.Path) })
	if err != nil {
		p.Error = failed(err, facts.Path)
	}
	p.Files = files
	p.trial(ctx, facts.Path)
	p.leftovers(facts.Path)
	return p
}

func medium(ctx context.Context, path string) Medium {
	began := time.Now()
	m, err := share.Guard(ctx, patience, func() (Medium, error) {
		m := disk.MediumOf(path)
		id, err := disk.DiskID(path)
		out := Medium{
			Network: word(m.Network), Memory: m.Memory, Rotates: word(m.Rotates), USB: word(m.USB), USBMbps: disk.USBSpeed(path),
			Known: err == nil && id != "", Workers: walk.DefaultWorkers(path),
		}
		if f, err := os.Open(path); err == nil {
			out.LastingNumbers = disk.LastingNumbers(f)
			f.Close()
		}
		return out, nil
	})
	if err != nil {
		return Medium{}
	}
	m.Seconds = time.Since(began).Seconds()
	return m
}

func word(a disk.Answer) string {
	return map[disk.Answer]string{disk.Yes: "yes", disk.No: "no", disk.Unknown: "unknown"}[a]
}

func pass(ctx context.Context, path string) Walk {
	var w Walk
	var failures atomic.Int64
	progress := &walk.Progress{}
	began := time.Now()
	err := walk.Walk(ctx, path, walk.Options{Progress: progress, Visit: func(d *walk.Dir) {
		if d.Err != nil {
			failures.Add(1)
		}
		for i := range d.Entries {
			if d.Entries[i].Failed {
				failures.Add(1)
			}
		}
	}})
	if err != nil {
		w.Error = failed(err, path)
	}
	w.Folders, w.Entries = progress.Folders.Load(), progress.Entries.Load()
	w.Failed, w.Seconds = failures.Load(), time.Since(began).Seconds()
	if w.Seconds > 0 {
		w.PerSecond = float64(w.Entries) / w.Seconds
	}
	return w
}

// trial is a small write trial, with what it found in words.
func (p *Place) trial(ctx context.Context, path string) {
	r, err := share.Try(ctx, path, share.Wishes{Bytes: 4 << 20, Files: 20, Deadline: patience})
	p.Trial = map[string]any{
		"name_limit": r.NameLimit, "cuts_names": r.CutsShort, "folds_case": r.FoldsCase, "folds_normal_forms": r.FoldsForms,
		"allocation_unit": r.Unit, "bytes_per_second": int64(r.Rate), "small_file_seconds": r.PerFile.Seconds(),
		"clock_ahead_seconds": r.ClockAhead.Seconds(), "past_cache": r.PastCache, "from_cache": r.FromCache,
	}
	refused, problems := []string{}, []string{} // never null in the document
	for _, f := range r.Refused {
		what := f.Habit
		if what == "" {
			what = fmt.Sprintf("U+%04X", f.Rune)
		}
		if f.Err == nil {
			what += " changed"
		}
		refused = append(refused, what)
	}
	for _, q := range r.Problems {
		problems = append(problems, q.Rule)
	}
	p.Trial["refused"], p.Trial["problems"] = refused, problems
	if err != nil {
		p.Trial["error"] = failed(err, path)
	}
	if r.Own != "" {
		p.Removed = "a folder " + prefixOf(filepath.Base(r.Own)) + " may be left"
	}
}

// ours names the folder of our own files.
const ours = ".loadline-selftest-"

// leftovers looks whether anything of ours is still there.
func (p *Place) leftovers(path string) {
	list, err := os.ReadDir(path)
	if err != nil {
		return
	}
	for _, e := range list {
		if strings.HasPrefix(e.Name(), ours) {
			p.Removed = "a folder " + ours + "… may be left"
		}
	}
}

func prefixOf(name string) string {
	if i := strings.LastIndex(name, "-"); i > 0 {
		return name[:i+1] + "…"
	}
	return "…"
}

// files puts files of our own through what Loadline relies on.
func files(path string) (f Files, err error) {
	dir, err := os.MkdirTemp(path, ours+"*")
	if err != nil {
		return f, err
	}
	defer func() {
		err = errors.Join(err, os.RemoveAll(dir))
	}()
	f.content(dir)
	f.flush(dir)
	f.rename(dir)
	f.names(dir)
	f.attributes(dir)
	return f, nil
}

// content writes a file, reads it into memory, and then reads it past that.
func (f *Files) content(dir string) {
	want := make([]byte, 1<<20)
	_, _ = rand.Read(want) // never fails (crypto/rand)
	name := filepath.Join(dir, "content")
	file, err := os.Create(name)
	if err != nil {
		f.ReadBack = failed(err, dir)
		return
	}
	_, err = file.Write(want)
	f.FlushFile = outcome(errors.Join(err, disk.Flush(file)), dir)
	before, err := disk.Stat(file)
	if err == nil {
		_, err = file.WriteAt(want[:1], 0)
	}
	if err = errors.Join(err, disk.Flush(file)); err == nil {
		after, err := disk.Stat(file)
		f.ChangedIsSeen = outcome(err, dir)
		if err == nil && before.Changed == after.Changed && before.Modified == after.Modified {
			f.ChangedIsSeen = "no"
		}
	}
	if err := file.Close(); err != nil {
		f.ReadBack = failed(err, dir)
		return
	}
	if _, err := os.ReadFile(name); err != nil { // now it is in memory
		f.ReadBack = failed(err, dir)
		return
	}
	f.MemorySeen = memorySeen(name, dir)
	r, err := disk.OpenPast(name)
	if err != nil {
		f.Eviction = failed(err, dir)
		return
	}
	defer r.Close()
	back := disk.Buffer(len(want) + 1)
	n, err := r.Fill(back, 0)
	f.Eviction, f.EvictionBy, f.ReadBack = string(r.Way()), r.By(), outcome(err, dir)
	if err == nil && !bytes.Equal(back[:n], want) {
		f.ReadBack = "other bytes"
	}
}

// memorySeen asks the system whether a file that was just read is in memory.
func memorySeen(name, dir string) string {
	f, err := os.Open(name)
	if err != nil {
		return failed(err, dir)
	}
	defer f.Close()
	switch in, err := disk.InMemory(f); {
	case errors.Is(err, errors.ErrUnsupported):
		return "not offered"
	case err != nil:
		return failed(err, dir)
	case in:
		return "yes"
	}
	return "no"
}

func (f *Files) flush(dir string) {
	f.FlushFolder = outcome(disk.FlushFolder(dir), dir)
	d, err := os.Open(dir)
	if err != nil {
		f.FlushAll = failed(err, dir)
		return
	}
	defer d.Close()
	way, err := disk.FlushAll(d)
	switch {
	case err != nil:
		f.FlushAll = failed(err, dir)
	case way == "":
		f.FlushAll = "not offered"
	default:
		f.FlushAll = way
	}
}

func (f *Files) rename(dir string) {
	one, two, three := filepath.Join(dir, "one"), filepath.Join(dir, "two"), filepath.Join(dir, "three")
	if err := errors.Join(os.WriteFile(one, []byte("1"), 0o600), os.WriteFile(two, []byte("2"), 0o600)); err != nil {
		f.RenameFree = failed(err, dir)
		return
	}
	f.RenameTaken = refused(disk.RenameNew(one, two), dir)
	if b, err := os.ReadFile(two); err != nil || string(b) != "2" {
		f.RenameTaken = "lost the other file"
	}
	f.RenameFree = outcome(disk.RenameNew(one, three), dir)
	f.FileReplaced = refused(disk.WriteNew(two, func(w io.Writer) error { _, err := io.WriteString(w, "new"); return err }), dir)
	if d, err := os.Open(dir); err == nil {
		defer d.Close()
		f.RenameAtomic = outcome(disk.RenameNewAt(d, "three", "four"), dir)
	}
}

// names sees what two spellings of one name are there.
func (f *Files) names(dir string) {
	f.Case = spelling(dir, "Case", "case")
	f.Forms = spelling(dir, "form-\u00e9", "form-e\u0301")
}

func spelling(dir, made, other string) string {
	if err := os.WriteFile(filepath.Join(dir, made), nil, 0o600); err != nil {
		return failed(err, dir)
	}
	list, err := os.ReadDir(dir)
	if err != nil {
		return failed(err, dir)
	}
	kept := slices.ContainsFunc(list, func(e fs.DirEntry) bool { return e.Name() == made })
	_, err = os.Lstat(filepath.Join(dir, other))
	switch {
	case !kept:
		return "changed"
	case err == nil:
		return "kept, but the other spelling opens it"
	}
	return "kept apart"
}

func (f *Files) attributes(dir string) {
	name := filepath.Join(dir, "attributes")
	if err := os.WriteFile(name, nil, 0o600); err != nil {
		f.Attributes = failed(err, dir)
		return
	}
	attribute, err := setAttribute(name)
	f.Attributes = listed(dir, "attributes", attribute, err)
	f.AppleDouble = "no"
	if _, err := os.Lstat(filepath.Join(dir, "._attributes")); err == nil {
		f.AppleDouble = "yes"
	}
	f.AccessLists = listed(dir, "attributes", accessList, setAccessList(name))
}

// listed tells whether a file has an attribute that it was given; err is how giving it went.
func listed(dir, name, attribute string, err error) string {
	list, listErr := walk.Xattrs(dir, name)
	if err := cmp.Or(err, listErr); err != nil {
		return failed(err, dir)
	}
	if slices.Contains(list, attribute) {
		return "kept and listed"
	}
	return "set, but not listed"
}

// outcome is "yes", or why not.
func outcome(err error, path string) string {
	if err != nil {
		return failed(err, path)
	}
	return "yes"
}

// refused is "refused" where something is there already, as it should be.
func refused(err error, path string) string {
	switch {
	case err == nil:
		return "not refused"
	case errors.Is(err, fs.ErrExist):
		return "refused"
	}
	return failed(err, path)
}
