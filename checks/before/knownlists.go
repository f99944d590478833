package before

import (
	"bufio"
	"bytes"
	"cmp"
	"context"
	"errors"
	"fmt"
	"hash/maphash"
	"io"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"
	"sync"

	"loadline/checks"
	"loadline/checks/digest"
	"loadline/checks/internal/disk"
	"loadline/checks/internal/sums"
	"loadline/checks/names"
	"loadline/checks/share"
	"loadline/checks/walk"
)

// knownLists are the checksum lists that are on a disk already. In memory they take 32 bytes a line.
type knownLists struct {
	mu    sync.Mutex
	lists []string // paths
	lines []knownLine
	seed  maphash.Seed
	root  string // of the disk

	number int // of the disk

	good, outside int64
	unread        []string // paths of what is named like a list and is none, or could not be read
	long          bool     // any line has a SHA-512
}

// A knownLine is one line of one list. The line itself is read again when it is needed.
type knownLine struct {
	hash  uint64 // of the path that it names
	at    int64  // where the line begins
	list  int32
	kind  sums.Set // 0: SHA-256
	found bool     // the file is there
}

const (
	longestKnown = 64 << 10 // bytes of a line
	largestKnown = 1 << 30  // bytes of a list
)

// knownSHA512 stands for SHA-512, which is none of the digests that are made of every file; see longSums.
const knownSHA512 sums.Set = 1 << 7

// isKnownList tells by its name whether a file may be a checksum list, and whether it is the manifest of a bag
// (RFC 8493 section 2.1.3; the other names are common practice, no source).
func isKnownList(name string) (list, bag bool) {
	// All of them end in a digit of a digest, "sum", "sums" or "txt", and few other files do.
	if name == "" || strings.IndexByte("1256mst", name[len(name)-1]|0x20) < 0 {
		return false, false
	}
	n := strings.ToLower(name)
	if rest, ok := strings.CutPrefix(strings.TrimPrefix(n, "tag"), "manifest-"); ok && strings.HasSuffix(rest, ".txt") {
		switch strings.TrimSuffix(rest, ".txt") {
		case "md5", "sha1", "sha256", "sha512":
			return true, true
		}
		return false, false
	}
	switch path.Ext(n) {
	case ".md5", ".sha1", ".sha256", ".sha512", ".md5sum", ".sha1sum", ".sha256sum", ".sha512sum", ".md5sums", ".sha1sums", ".sha256sums", ".sha512sums":
		return true, false
	}
	switch strings.TrimSuffix(n, ".txt") {
	case "md5sum", "md5sums", "sha1sum", "sha1sums", "sha256sum", "sha256sums", "sha512sum", "sha512sums", "checksum", "checksums":
		return true, false
	}
	return false, false
}

// see takes the lists of a folder.
func (k *knownLists) see(d *walk.Dir) {
	for i := range d.Entries {
		e := &d.Entries[i]
		if e.Kind != walk.File || e.Failed || e.Size == 0 {
			continue
		}
		if list, _ := isKnownList(e.Name); list {
			k.mu.Lock()
			k.lists = append(k.lists, d.Join(e.Name))
			k.mu.Unlock()
		}
	}
}

// read reads the lists.
func (k *knownLists) read(ctx context.Context) error {
	k.seed = maphash.MakeSeed()
	slices.Sort(k.lists)
	for i, list := range k.lists {
		type read struct {
			lines   []knownLine
			outside int64
		}
		got, err := share.Guard(ctx, readPatience, func() (read, error) {
			lines, outside, err := k.parse(list, int32(i))
			return read{lines, outside}, err
		})
		if ctx.Err() != nil || share.Silent(err) {
			return err
		}
		if err != nil {
			k.unread = append(k.unread, list)
			continue
		}
		k.lines = append(k.lines, got.lines...)
		k.outside += got.outside
	}
	slices.SortFunc(k.lines, func(a, b knownLine) int {
		return cmp.Or(cmp.Compare(a.hash, b.hash), cmp.Compare(a.list, b.list), cmp.Compare(a.at, b.at))
	})
	return nil
}

// parse reads one list. A file of which most lines are of another kind is none, whatever its name.
func (k *knownLists) parse(list string, number int32) (lines []knownLine, outside int64, err error) {
	f, err := os.Open(filepath.Join(k.root, filepath.FromSlash(list)))
	if err != nil {
		return nil, 0, err
	}
	defer f.Close()
	if info, err := f.Stat(); err != nil || info.Size() > largestKnown {
		return nil, 0, cmp.Or(err, errNoList)
	}
	_, bag := isKnownList(path.Base(list))
	in := bufio.NewReaderSize(f, longestKnown)
	other := 0
	for at := int64(0); ; {
		line, err := in.ReadSlice('\n')
		here := at
		at += int64(len(line))
		if errors.Is(err, bufio.ErrBufferFull) {
			return nil, 0, errNoList
		}
		if len(line) > 0 {
			known, ok := parseKnown(line, bag)
			switch {
			case ok && known.name == "":
			case !ok:
				other++
			default:
				if file, inside := k.resolve(list, known.name); inside {
					lines = append(lines, knownLine{hash: k.hash(file), at: here, list: number, kind: known.kind})
					k.long = k.long || known.kind == knownSHA512
				} else {
					outside++
				}
			}
		}
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, 0, err
		}
	}
	if other > len(lines)+int(outside) {
		return nil, 0, errNoList
	}
	return lines, outside, nil
}

var errNoList = errors.New("not a checksum list")

func (k *knownLists) hash(file string) uint64 { return maphash.String(k.seed, file) }

// resolve returns the path of a file that a list names, relative to the source; false where it leads out.
func (k *knownLists) resolve(list, name string) (file string, inside bool) {
	file, inside = belowSource(path.Dir(list), name)
	if !strings.Contains(name, `\`) || inside && k.there(file) {
		return file, inside
	}
	// Made on Windows, where that is what stands between the parts of a path.
	other, ok := belowSource(path.Dir(list), strings.ReplaceAll(name, `\`, "/"))
	if !ok {
		return "", false
	}
	if k.there(other) {
		return other, true
	}
	return file, inside
}

// belowSource returns the path of a name in a folder of the source; false where it leads out. A list may have been made on
// any system, so a drive of Windows leads out too.
func belowSource(folder, name string) (file string, inside bool) {
	if path.IsAbs(name) || len(name) > 2 && name[1] == ':' && name[2] == '/' && isLetter(name[0]) {
		return "", false
	}
	file = path.Join(folder, name)
	return file, file != ".." && !strings.HasPrefix(file, "../")
}

func isLetter(c byte) bool { return c|0x20 >= 'a' && c|0x20 <= 'z' }

func (k *knownLists) there(file string) bool {
	at, ok := k.at(file)
	if !ok {
		return false
	}
	_, err := os.Lstat(at)
	return err == nil
}

// at returns where a file that a list names would be; false where this system has no such name below a folder: on
// Windows a backslash, which is part of a name elsewhere, leads on.
func (k *knownLists) at(file string) (string, bool) {
	if filepath.Separator != '/' && strings.ContainsRune(file, filepath.Separator) {
		return "", false
	}
	local := filepath.FromSlash(file)
	return filepath.Join(k.root, local), filepath.IsLocal(local)
}

// A known is what one line says.
type known struct {
	name   string // "" where the line says nothing
	kind   sums.Set
	digest [64]byte
	size   int // of the digest, bytes
}

// parseKnown reads a line of sha256sum, sha512sum, sha1sum or md5sum, plain or as BSD writes it, or of the manifest of a
// bag. Editors of Windows begin a text with U+FEFF.
func parseKnown(line []byte, bag bool) (k known, ok bool) {
	line = bytes.TrimPrefix(bytes.TrimRight(bytes.Clone(line), "\r\n"), []byte("\ufeff"))
	if len(bytes.TrimSpace(line)) == 0 || line[0] == '#' || line[0] == ';' {
		return known{}, true
	}
	if bag {
		digest, name, ok := strings.Cut(string(line), " ")
		if !ok {
			digest, name, ok = strings.Cut(string(line), "\t")
		}
		if name = strings.TrimLeft(name, " \t"); !ok || name == "" {
			return known{}, false
		}
		k.name = bagDecoder.Replace(name)
		return k, k.setDigest(digest)
	}
	s, err := names.ReadSumLine(line)
	if err != nil {
		return known{}, false
	}
	k.name = string(s.Name)
	return k, k.setDigest(string(s.Digest)) && (s.Tag == nil || string(s.Tag) == tags[k.kind])
}

// tags name the algorithms in lines of the form of BSD.
var tags = map[sums.Set]string{0: "SHA256", knownSHA512: "SHA512", sums.SHA1: "SHA1", sums.MD5: "MD5"}

// bagDecoder takes back what RFC 8493 section 2.1.3 codes in a path, in either case of letters.
var bagDecoder = strings.NewReplacer("%0A", "\n", "%0a", "\n", "%0D", "\r", "%0d", "\r", "%25", "%")

// setDigest reads a digest; its length tells its kind.
func (k *known) setDigest(text string) bool {
	switch len(text) {
	case 128:
		k.kind = knownSHA512
	case 64:
		k.kind = 0
	case 40:
		k.kind = sums.SHA1
	case 32:
		k.kind = sums.MD5
	default:
		return false
	}
	k.size = len(text) / 2
	return sums.FromHex(k.digest[:k.size], []byte(text))
}

// of returns the digest of a kind.
func (k *known) of(s *sums.Sums, sha512 []byte) []byte {
	switch k.kind {
	case knownSHA512:
		return sha512
	case sums.MD5:
		return s.MD5[:]
	case sums.SHA1:
		return s.SHA1[:]
	}
	return s.SHA256[:]
}

// naming returns the lines that may name a file: k.lines[from:to].
func (k *knownLists) naming(file string) (from, to int) {
	h := k.hash(file)
	from, _ = slices.BinarySearchFunc(k.lines, h, func(l knownLine, h uint64) int { return cmp.Compare(l.hash, h) })
	for to = from; to < len(k.lines) && k.lines[to].hash == h; to++ {
	}
	return from, to
}

// want says which digests the lists have of a file, SHA-512 aside, and notes that it is there.
func (k *knownLists) want(f *digest.File) (set sums.Set) {
	if len(k.lines) == 0 {
		return 0
	}
	k.mu.Lock()
	defer k.mu.Unlock()
	from, to := k.naming(f.Path)
	for i := from; i < to; i++ {
		set |= k.lines[i].kind
		k.lines[i].found = true
	}
	return set &^ knownSHA512
}

// compare holds the sums of a file, and its SHA-512 where that is known, against what the lists say of it.
func (k *knownLists) compare(pass *checks.Pass, file string, size int64, s *sums.Sums, sha512 []byte) {
	if len(k.lines) == 0 {
		return
	}
	k.mu.Lock() // want marks lines meanwhile
	from, to := k.naming(file)
	lines := slices.Clone(k.lines[from:to])
	k.mu.Unlock()
	for _, l := range lines {
		if l.kind == knownSHA512 && sha512 == nil || l.kind != knownSHA512 && s.Has&l.kind != l.kind {
			continue
		}
		list := k.lists[l.list]
		known, err := share.Guard(context.Background(), readPatience, func() (known, error) { return k.line(&l) })
		if err != nil {
			continue // the list cannot be read any more, which shows when it is read as a file
		}
		if named, inside := k.resolve(list, known.name); !inside || named != file {
			continue // another path of the same hash
		}
		if want := known.digest[:known.size]; !bytes.Equal(known.of(s, sha512), want) {
			pass.Add(checks.Finding{
				Source: k.number, Path: file, Rule: knownChecksumDiffers, Level: checks.Fail, Size: size,
				Detail: fmt.Sprintf("its %s is %x…, %s has %x…", kindName(known.kind), known.of(s, sha512)[:8], names.Quote(list), want[:8]),
			})
			continue
		}
		k.mu.Lock()
		k.good++
		k.mu.Unlock()
	}
}

func kindName(kind sums.Set) string {
	switch kind {
	case sums.MD5:
		return "MD5"
	case sums.SHA1:
		return "SHA-1"
	case knownSHA512:
		return "SHA-512"
	}
	return "SHA-256"
}

// line reads a line again.
func (k *knownLists) line(l *knownLine) (known, error) {
	list := k.lists[l.list]
	f, err := os.Open(filepath.Join(k.root, filepath.FromSlash(list)))
	if err != nil {
		return known{}, err
	}
	defer f.Close()
	if _, err := f.Seek(l.at, io.SeekStart); err != nil {
		return known{}, err
	}
	text, err := bufio.NewReaderSize(f, 4096).ReadBytes('\n')
	if err != nil && !errors.Is(err, io.EOF) {
		return known{}, err
	}
	_, bag := isKnownList(path.Base(list))
	if known, ok := parseKnown(text, bag); ok && known.name != "" {
		return known, nil
	}
	return known{}, errNoList
}

// missing reports what the lists name and is not there: each file, or a list of which nothing is there, once.
func (k *knownLists) missing(ctx context.Context, pass *checks.Pass) error {
	type sum struct{ all, gone int64 }
	byList := make([]sum, len(k.lists))
	gone := map[int32][]string{}
	for i := range k.lines {
		l := &k.lines[i]
		byList[l.list].all++
		if l.found {
			continue
		}
		file, err := share.Guard(ctx, readPatience, func() (string, error) {
			known, err := k.line(l)
			if err != nil {
				return "", nil // the list has changed
			}
			file, _ := k.resolve(k.lists[l.list], known.name)
			at, ok := k.at(file)
			if !ok {
				return file, nil
			}
			if _, err := os.Lstat(at); errors.Is(err, fs.ErrNotExist) {
				return file, nil
			}
			return "", nil
		})
		if err != nil {
			return err
		}
		if file != "" {
			byList[l.list].gone++
			gone[l.list] = append(gone[l.list], file)
		}
	}
	for i, list := range k.lists {
		if s := byList[i]; s.gone == s.all && s.gone > 1 {
			pass.Add(checks.Finding{
				Source: k.number, Path: list, Rule: knownChecksumMissing, Level: checks.Warn,
				Detail: fmt.Sprintf("names %s, of which none is where the list says", checks.Plural(s.all, "file")),
				Remedy: "If the list was made in another folder, move it there; otherwise find out where these files are.",
			})
			continue
		}
		for _, file := range gone[int32(i)] {
			pass.Add(checks.Finding{Source: k.number, Path: file, Rule: knownChecksumMissing, Level: checks.Warn, Detail: "named in " + names.Quote(list) + ", but not there"})
		}
	}
	return nil
}

// recall holds the lists against what is remembered, without reading any file.
func (k *knownLists) recall(ctx context.Context, pass *checks.Pass, e *diskReading) error {
	if e.memory.Known() == 0 || len(k.lists) == 0 {
		return nil
	}
	if err := k.read(ctx); err != nil {
		return err
	}
	for i := range k.lines {
		l := &k.lines[i]
		type state struct {
			file string
			disk.State
		}
		s, err := share.Guard(ctx, readPatience, func() (state, error) {
			known, err := k.line(l)
			if err != nil {
				return state{}, nil
			}
			file, _ := k.resolve(k.lists[l.list], known.name)
			at, ok := k.at(file)
			if !ok {
				return state{}, nil
			}
			s, err := disk.Lstat(at)
			if err != nil {
				return state{}, nil // a reading reports what is missing
			}
			return state{file, s}, nil
		})
		if err != nil {
			return err
		}
		if rec, ok := e.memory.Find(e.places.IdentOf(s.file, &s.State)); ok && s.file != "" && rec.Whole() && !l.found {
			from, to := k.naming(s.file)
			for i := from; i < to; i++ {
				k.lines[i].found = true // all lines of one file at once
			}
			k.compare(pass, s.file, s.Size, &rec.Sums, e.knownLong(rec.Ident))
		}
	}
	return nil
}

// describeLists writes what was compared onto the card.
func describeLists(pass *checks.Pass, disks []*diskReading) {
	lines, lists, good, outside := 0, 0, int64(0), int64(0)
	var unread []string
	for _, d := range disks {
		k := &d.lists
		lines += len(k.lines)
		lists += len(k.lists)
		good += k.good
		outside += k.outside
		unread = append(unread, k.unread...)
	}
	lists -= len(unread)
	if len(unread) > 0 {
		pass.Fact("known_unread", len(unread), "Named like a checksum list, but not one that could be read: %s, %s first",
			checks.Plural(int64(len(unread)), "file"), names.Quote(slices.Min(unread)))
	}
	if lines == 0 {
		return
	}
	pass.Fact("known_checksums", good, "Agree with checksum lists on the disk: %s, in %s", checks.Plural(good, "file"), checks.Plural(int64(lists), "list"))
	if outside > 0 {
		pass.Fact("known_outside", outside, "Named by such lists, but not in this folder: %s", checks.Plural(outside, "file"))
	}
}
