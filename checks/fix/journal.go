package fix

import (
	"bufio"
	"bytes"
	"cmp"
	"crypto/rand"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"time"

	"loadline/checks/internal/disk"
	"loadline/checks/names"
)

// A Journal tells of a plan that was applied or begun.
type Journal struct {
	Path    string
	Source  string // as it was called then; where the journal is in the source, its folder now
	Started time.Time
	State   State
	Renames int
	Copies  int // copies in the place of links, and archives
}

// State is how far a journal has come.
type State string

// The states.
const (
	StatePlanned  State = "planned"  // written, nothing renamed yet
	StateApplying State = "applying" // renaming, or broken off: resume or undo
	StateApplied  State = "applied"  // all renamed: can be undone
	StateUndoing  State = "undoing"  // going back, or broken off: undo once more
	StateUndone   State = "undone"   // all back
)

// Unfinished reports whether the plan stopped midway.
func (j *Journal) Unfinished() bool {
	// "": the word was half written, so something was about to begin or to end.
	return j.State == StateApplying || j.State == StateUndoing || j.State == ""
}

// Ours reports whether a name is that of a file that this package leaves on a source: a journal,
// or a name on its way to another after a crash. Checks need not flag it.
func Ours(name string) bool {
	return strings.HasPrefix(name, tempPrefix) ||
		strings.HasPrefix(name, journalPrefix) && strings.HasSuffix(name, journalSuffix)
}

// ReadJournal looks at one journal.
func ReadJournal(path string) (*Journal, error) {
	j, err := openJournal(path, os.O_RDONLY)
	if err != nil {
		return nil, err
	}
	defer j.file.Close()
	return j.public(), nil
}

// Journals finds the journals of a source, in its folder and in the state folder ("" for the usual
// one), oldest first. What cannot be read as a journal is left out.
func Journals(source, stateDir string) ([]*Journal, error) {
	source, err := filepath.Abs(source)
	if err != nil {
		return nil, err
	}
	settled, err := filepath.EvalSymlinks(source)
	if err != nil {
		return nil, fmt.Errorf("cannot open the folder %s: %w", names.Quote(source), disk.WithoutPath(err))
	}
	var out []*Journal
	for _, dir := range []string{source, cmp.Or(stateDir, StateDir())} {
		list, err := namesIn(openAt(dir))
		if err != nil && (dir == source || !noFolder(err) && !errors.Is(err, fs.ErrPermission)) {
			return nil, fmt.Errorf("cannot list the folder %s: %w", names.Quote(dir), disk.WithoutPath(err))
		}
		for _, name := range list {
			if !strings.HasSuffix(name, journalSuffix) || !strings.HasPrefix("."+strings.TrimPrefix(name, "."), journalPrefix) {
				continue
			}
			if j, err := ReadJournal(filepath.Join(dir, name)); err == nil && (j.Source == settled || j.Source == source) {
				out = append(out, j)
			}
		}
	}
	slices.SortFunc(out, func(a, b *Journal) int { return a.Started.Compare(b.Started) })
	return out, nil
}

// StateDir returns the folder for journals that cannot be on the disk: loadline/renames in
// XDG_STATE_HOME (XDG Base Directory Specification), or where the system keeps such things.
func StateDir() string {
	dir := os.Getenv("XDG_STATE_HOME")
	if !filepath.IsAbs(dir) {
		home, err := os.UserHomeDir()
		if err != nil {
			home = os.TempDir()
		}
		dir = filepath.Join(home, ".local", "state")
		switch runtime.GOOS {
		case "darwin":
			dir = filepath.Join(home, "Library", "Application Support")
		case "windows":
			dir = cmp.Or(os.Getenv("LOCALAPPDATA"), home)
		}
	}
	return filepath.Join(dir, "loadline", "renames")
}

type journalFile struct {
	path    string
	file    *os.File
	head    head
	moves   []*move
	folders []dated
	inRoot  bool // it is in the source folder
	hook    func(string)
}

// move is one rename as the journal holds it.
type move struct {
	dir, from, to, temp string
	id                  identity
	made                *made  // what it makes, if it is no rename
	at                  string // word in the journal
	offset              int64  // of the word; 0 while it is not written
	place               string // where it is: atOld, atTemp, atNew; "" unknown
}

// dated is a folder with the date that it keeps.
type dated struct {
	path string
	id   identity
}

func newID() string {
	b := make([]byte, 4)
	rand.Read(b) // never fails
	return hex.EncodeToString(b)
}

// tempName is the name that a move gives to what is on its way.
func (j *journalFile) tempName(number int) string {
	return tempPrefix + j.head.ID + "-" + strconv.Itoa(number)
}

func openJournal(path string, flag int) (*journalFile, error) {
	path, err := filepath.Abs(path)
	if err != nil {
		return nil, err
	}
	// Whoever filled the disk may have given the name to a pipe, which would be waited for for ever.
	if info, err := os.Stat(path); err == nil && !info.Mode().IsRegular() {
		return nil, fmt.Errorf("%s: %w: it is not a file", names.Quote(path), ErrJournal)
	}
	f, err := os.OpenFile(path, flag, 0)
	if err != nil {
		return nil, fmt.Errorf("cannot open the journal %s: %w", names.Quote(path), disk.WithoutPath(err))
	}
	data, err := readJournal(f)
	if err != nil {
		f.Close()
		return nil, fmt.Errorf("cannot read the journal %s: %w", names.Quote(path), disk.WithoutPath(err))
	}
	j, err := decode(data)
	half := errors.Is(err, errHalf)
	if half && j.head.State != string(StatePlanned) {
		half, err = false, fmt.Errorf("%w: its end is lost, though its plan was begun", ErrJournal)
	}
	if err != nil && !half {
		f.Close()
		return nil, fmt.Errorf("%s: %w", names.Quote(path), err)
	}
	if half {
		j.moves = nil
	}
	j.path, j.file = path, f
	j.inRoot = strings.HasPrefix(filepath.Base(path), ".")
	return j, nil
}

// readJournal reads a file, of one that does not begin like a journal only the beginning.
func readJournal(f *os.File) ([]byte, error) {
	r := bufio.NewReaderSize(f, mostHead)
	begin, err := r.Peek(mostHead)
	if err != nil && !errors.Is(err, io.EOF) {
		return nil, err
	}
	if !bytes.Contains(begin, []byte("\n")) {
		return begin, nil
	}
	return io.ReadAll(io.LimitReader(r, mostJournal))
}

func (j *journalFile) source() string {
	if j.inRoot {
		return filepath.Dir(j.path)
	}
	return string(j.head.Source)
}

func (j *journalFile) public() *Journal {
	out := &Journal{
		Path: j.path, Source: j.source(), Started: j.head.Started, State: State(j.head.State),
	}
	for _, m := range j.moves {
		if m.made != nil {
			out.Copies++
		} else {
			out.Renames++
		}
	}
	return out
}

// mark changes the word of a move and, where a rename follows, waits until it has arrived.
func (j *journalFile) mark(m *move, w string, wait bool) error {
	m.at = w
	return j.set(m.offset, w, wait)
}

func (j *journalFile) state(s State) error {
	j.head.State = string(s)
	return j.set(int64(wordAt), string(s), true)
}

func (j *journalFile) set(offset int64, w string, wait bool) error {
	j.hook("mark")
	if _, err := j.file.WriteAt([]byte(word(w)), offset); err != nil {
		return fmt.Errorf("cannot write the journal: %w", err)
	}
	if wait {
		if err := disk.Flush(j.file); err != nil {
			return fmt.Errorf("cannot flush the journal: %w", err)
		}
	}
	j.hook("marked")
	return nil
}
