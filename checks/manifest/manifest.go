// Package manifest reads and writes the manifest: the paths, sizes and checksums of an archive whose copy was
// proven, in a text file that sha256sum -c verifies.
package manifest

import (
	"bufio"
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"fmt"
	"hash"
	"io"
	"iter"
	"strconv"
	"strings"
	"time"

	"loadline/checks/internal/disk"
	"loadline/checks/internal/sums"
	"loadline/checks/names"
)

// A manifest is a text file that sha256sum -c verifies, in the folder of the source or of the copy:
//
//	# Loadline manifest 1. To verify: sha256sum -c THIS-FILE, in the folder of the copy.
//	# made 2026-11-24T23:38:27Z
//	# source "/media/disk/archive"
//	# prefix "archive"
//	# files 2
//	# bytes 1048579
//	# not-covered links=0 others=0 clutter=0
//	# size=3 crc32c=364b3fb7 md5=900150983cd24fb0d6963f7d28e17f72 crc32=352441c2 crc64nvme=… read=now
//	ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad  a.txt
//	…
//	# seal 0d2c…
//
// sha256sum passes over lines that begin with "#", which no line with a digest does. Paths are
// sorted bytewise. The last line is the SHA-256 of all bytes before it: a manifest that was cut or
// edited is noticed here, while sha256sum -c still takes it. Of the checksums after the size any may be
// missing. read says when the source was read: "now", for the manifest, or the time of an earlier reading
// since which it is unchanged; it is missing in manifests of older versions. Where the name on the disk has
// another Unicode normal form than the path, which is that of the copy, disk="…" holds it at the end of the
// line, quoted as Go does. Where files were left off a copy list, " left-off=N" follows clutter, and where
// files could not be read whole " unread=N" follows that.

// Header is what a manifest says of itself.
type Header struct {
	Made   time.Time
	Source string // path of the source when it was read
	Prefix string // folder on the share that held the copy, and so the head of every key
	Files  int64
	Bytes  int64
	// What the manifest does not cover: links and special files are no content of their own, and
	// desktop clutter, and what was not on a copy list, may have been left out of the copy on purpose.
	Links, Others, Clutter int64
	LeftOff                int64 // files that were not on the copy list and not copied
	Unread                 int64 // files that could not be read whole: of a baseline only
}

const (
	first = "# Loadline manifest 1."
	hint  = " To verify: sha256sum -c THIS-FILE, in the folder of the copy."
	// longestLine bounds the memory of one line, bytes.
	longestLine = 1 << 20
)

// Sums are the checksums of a file.
type Sums = sums.Sums

// A File is one file of a manifest.
type File struct {
	Path []byte // relative to the source, "/" between parts, raw bytes
	Size int64
	Sums Sums
	// Read is when an earlier run read the source, which is unchanged since; zero where it was read for this
	// manifest. Of manifests of older versions it says nothing.
	Read time.Time
	// Disk is the path on the source where that has another Unicode normal form than Path, which then is that
	// of the copy; nil where both are the same.
	Disk []byte
}

// The digests that a line of facts holds beside the size, in their order.
var factSums = []struct {
	key   string
	in    sums.Set
	bytes int
	get   func(*Sums) []byte
	set   func(*Sums, []byte)
}{
	{"crc32c", sums.CRC32C, 4, func(s *Sums) []byte { return be32(s.CRC32C) }, func(s *Sums, b []byte) { s.CRC32C = binary.BigEndian.Uint32(b) }},
	{"md5", sums.MD5, 16, func(s *Sums) []byte { return s.MD5[:] }, func(s *Sums, b []byte) { copy(s.MD5[:], b) }},
	{"crc32", sums.CRC32, 4, func(s *Sums) []byte { return be32(s.CRC32) }, func(s *Sums, b []byte) { s.CRC32 = binary.BigEndian.Uint32(b) }},
	{"crc64nvme", sums.CRC64NVME, 8, func(s *Sums) []byte { return binary.BigEndian.AppendUint64(nil, s.CRC64NVME) }, func(s *Sums, b []byte) { s.CRC64NVME = binary.BigEndian.Uint64(b) }},
}

func be32(c uint32) []byte { return binary.BigEndian.AppendUint32(nil, c) }

// appendFacts appends the line before that of a digest.
func appendFacts(line []byte, f *File) []byte {
	line = strconv.AppendInt(append(line, "# size="...), f.Size, 10)
	for _, k := range factSums {
		if f.Sums.Has&k.in != 0 {
			line = append(append(append(line, ' '), k.key...), '=')
			line = hex.AppendEncode(line, k.get(&f.Sums))
		}
	}
	line = append(line, " read="...)
	if f.Read.IsZero() {
		line = append(line, "now"...)
	} else {
		line = f.Read.UTC().AppendFormat(line, time.RFC3339)
	}
	if f.Disk != nil {
		line = strconv.AppendQuoteToASCII(append(line, " disk="...), string(f.Disk))
	}
	return line
}

// Write writes a manifest. Files must come sorted by path, bytewise.
func Write(w io.Writer, h *Header, files iter.Seq[*File]) error {
	seal := sha256.New()
	out := io.MultiWriter(w, seal)
	off := ""
	if h.LeftOff > 0 {
		off = " left-off=" + strconv.FormatInt(h.LeftOff, 10)
	}
	if h.Unread > 0 {
		off += " unread=" + strconv.FormatInt(h.Unread, 10)
	}
	if _, err := fmt.Fprintf(out, "%s%s\n# made %s\n# source %s\n# prefix %s\n# files %d\n# bytes %d\n# not-covered links=%d others=%d clutter=%d%s\n",
		first, hint, h.Made.UTC().Format(time.RFC3339), strconv.QuoteToASCII(h.Source), strconv.QuoteToASCII(h.Prefix),
		h.Files, h.Bytes, h.Links, h.Others, h.Clutter, off); err != nil {
		return err
	}
	line := make([]byte, 0, 512)
	for f := range files {
		line = append(appendFacts(line[:0], f), '\n')
		line = AppendSumLine(line, f.Sums.SHA256[:], f.Path)
		if _, err := out.Write(line); err != nil {
			return err
		}
	}
	_, err := fmt.Fprintf(w, "# seal %x\n", seal.Sum(nil))
	return err
}

// ErrUnusable wraps every reason why a manifest cannot be trusted. The text says where and what
// to do.
var ErrUnusable = errors.New("cannot use the manifest")

func bad(line int, format string, args ...any) error {
	return fmt.Errorf("%w: line %d: %w; use the manifest as it was written, the check after copying also kept one on this computer",
		ErrUnusable, line, fmt.Errorf(format, args...))
}

// Read reads a manifest and calls add for every file, in the order of paths; f must not be
// kept. It returns an error that wraps ErrUnusable and names the line if anything was cut or edited,
// which is only known at the end: what add was given counts for nothing before Read returns
// nil. It holds one line at a time.
func Read(r io.Reader, add func(f *File) error) (*Header, error) {
	m := reader{in: bufio.NewReaderSize(r, 1<<16), seal: sha256.New()}
	if err := m.header(); err != nil {
		return nil, err
	}
	var f File
	var last []byte
	var files, total int64
	for {
		line, err := m.next()
		if err != nil {
			return nil, err
		}
		if rest, ok := bytes.CutPrefix(line, []byte("# seal ")); ok {
			if err := m.end(rest); err != nil {
				return nil, err
			}
			break
		}
		f = File{}
		if err := parseFacts(line, &f); err != nil {
			return nil, bad(m.line, "%w", err)
		}
		m.addToSeal(line)
		if line, err = m.next(); err != nil {
			return nil, err
		}
		m.addToSeal(line)
		sum, err := names.ReadSumLine(line)
		if err != nil {
			return nil, bad(m.line, "%w", err)
		}
		if sum.Tag != nil || !sums.FromHex(f.Sums.SHA256[:], sum.Digest) {
			return nil, bad(m.line, "the digest is not a SHA-256 (64 hexadecimal digits)")
		}
		f.Path = sum.Name
		if string(f.Path) == "./-" {
			f.Path = f.Path[2:]
		}
		if err := cleanPath(f.Path); err != nil {
			return nil, bad(m.line, "%w", err)
		}
		if files > 0 && bytes.Compare(last, f.Path) >= 0 {
			return nil, bad(m.line, "the paths are not in order")
		}
		last = append(last[:0], f.Path...)
		files++
		total += f.Size
		if err := add(&f); err != nil {
			return nil, err
		}
	}
	if files != m.head.Files || total != m.head.Bytes {
		return nil, bad(m.line, "it lists %d files with %d bytes, but its head says %d with %d", files, total, m.head.Files, m.head.Bytes)
	}
	return &m.head, nil
}

// Begins reports whether a first line is that of a manifest.
func Begins(line []byte) bool { return bytes.HasPrefix(line, []byte(first)) }

type reader struct {
	in   *bufio.Reader
	seal hash.Hash
	line int
	head Header
	held []byte
}

// next returns the next line without its LF.
func (m *reader) next() ([]byte, error) {
	m.line++
	m.held = m.held[:0]
	for {
		part, err := m.in.ReadSlice('\n')
		m.held = append(m.held, part...)
		if len(m.held) > longestLine {
			return nil, bad(m.line, "the line is longer than %d bytes", longestLine)
		}
		switch {
		case err == nil:
			return m.held[:len(m.held)-1], nil
		case errors.Is(err, bufio.ErrBufferFull):
		case errors.Is(err, io.EOF):
			return nil, bad(m.line, "the manifest is cut off: its last line, the seal, is missing")
		default:
			return nil, fmt.Errorf("%w: line %d: %w", ErrUnusable, m.line, err)
		}
	}
}

// addToSeal adds a line to the seal. It must come before the line is unescaped in place.
func (m *reader) addToSeal(line []byte) {
	m.seal.Write(line)
	m.seal.Write([]byte{'\n'})
}

func (m *reader) header() error {
	line, err := m.next()
	if err != nil {
		if m.line == 1 && len(m.held) == 0 {
			return fmt.Errorf("%w: it is empty", ErrUnusable)
		}
		if !bytes.HasPrefix(m.held, []byte(first)) {
			return errNone
		}
		return err
	}
	if !bytes.HasPrefix(line, []byte(first)) {
		return errNone
	}
	m.addToSeal(line)
	h := &m.head
	for _, want := range []struct {
		key   string
		parse func(string) error
	}{
		{"made", func(s string) (err error) { h.Made, err = time.Parse(time.RFC3339, s); return err }},
		{"source", func(s string) (err error) { h.Source, err = strconv.Unquote(s); return err }},
		{"prefix", func(s string) (err error) { h.Prefix, err = strconv.Unquote(s); return err }},
		{"files", func(s string) (err error) { h.Files, err = parseSize(s); return err }},
		{"bytes", func(s string) (err error) { h.Bytes, err = parseSize(s); return err }},
		{"not-covered", func(s string) error {
			s, unread, any := strings.Cut(s, " unread=")
			if any {
				var err error
				if h.Unread, err = parseSize(unread); err != nil {
					return err
				}
			}
			s, off, any := strings.Cut(s, " left-off=")
			if any {
				var err error
				if h.LeftOff, err = parseSize(off); err != nil {
					return err
				}
			}
			_, err := fmt.Sscanf(s, "links=%d others=%d clutter=%d", &h.Links, &h.Others, &h.Clutter)
			return err
		}},
	} {
		line, err := m.next()
		if err != nil {
			return err
		}
		rest, ok := strings.CutPrefix(string(line), "# "+want.key+" ")
		if !ok {
			return bad(m.line, "expected %q", "# "+want.key+" …")
		}
		if err := want.parse(rest); err != nil {
			return bad(m.line, "%s: %w", want.key, err)
		}
		m.addToSeal(line)
	}
	return nil
}

var errNone = fmt.Errorf("%w: line 1: it does not begin like a manifest from the check after copying; give the manifest first, then the listings", ErrUnusable)

// end compares the seal and sees that nothing follows it.
func (m *reader) end(rest []byte) error {
	var want [sha256.Size]byte
	if !sums.FromHex(want[:], rest) {
		return bad(m.line, "the seal is not a SHA-256")
	}
	if !bytes.Equal(want[:], m.seal.Sum(nil)) {
		return bad(m.line, "the seal does not match: the manifest was edited or damaged after it was written")
	}
	if _, err := m.in.ReadByte(); err == nil {
		return bad(m.line+1, "something follows the seal: the manifest was edited after it was written")
	} else if !errors.Is(err, io.EOF) {
		return fmt.Errorf("%w: line %d: %w", ErrUnusable, m.line, err)
	}
	return nil
}

// parseFacts reads the line before a digest.
func parseFacts(line []byte, f *File) error {
	rest, ok := bytes.CutPrefix(line, []byte("# size="))
	if !ok {
		return errors.New(`expected "# size=…" before the next file`)
	}
	size, rest, more := bytes.Cut(rest, []byte(" "))
	var err error
	if f.Size, err = parseSize(string(size)); err != nil {
		return err
	}
	for more {
		key, value, ok := bytes.Cut(rest, []byte("="))
		if !ok {
			return fmt.Errorf("expected key=value, not %s", names.QuoteShort(string(rest)))
		}
		if string(key) == "disk" {
			path, err := strconv.Unquote(string(value))
			if err != nil {
				return errors.New("the path on the disk is not quoted as it should be")
			}
			f.Disk = []byte(path)
			return cleanPath(f.Disk)
		}
		value, rest, more = bytes.Cut(value, []byte(" "))
		if err := f.fact(string(key), value); err != nil {
			return err
		}
	}
	return nil
}

func (f *File) fact(key string, value []byte) error {
	if key == "read" {
		if string(value) == "now" {
			return nil
		}
		var err error
		if f.Read, err = time.Parse(time.RFC3339, string(value)); err != nil {
			return fmt.Errorf("read=%s is neither now nor a time", names.QuoteShort(string(value)))
		}
		return nil
	}
	for _, k := range factSums {
		if k.key != key {
			continue
		}
		var b [16]byte
		if f.Sums.Has&k.in != 0 || !sums.FromHex(b[:k.bytes], value) {
			return fmt.Errorf("expected %s=… once, with %d hexadecimal digits", key, 2*k.bytes)
		}
		k.set(&f.Sums, b[:k.bytes])
		f.Sums.Has |= k.in
		return nil
	}
	return fmt.Errorf("the fact %s is not known: the manifest was made by a newer version, so use that", names.QuoteShort(key))
}

// parseSize reads a number of bytes: digits only.
func parseSize(s string) (int64, error) {
	if s == "" || strings.Trim(s, "0123456789") != "" {
		return 0, fmt.Errorf("%s is not a whole number of bytes", names.QuoteShort(s))
	}
	n, err := strconv.ParseInt(s, 10, 64)
	if err != nil {
		return 0, fmt.Errorf("%s is more bytes than any file can have", names.QuoteShort(s))
	}
	return n, nil
}

// cleanPath refuses what cannot be the path of a file below the source.
func cleanPath(path []byte) error {
	for part := range bytes.SplitSeq(path, []byte("/")) {
		switch string(part) {
		case "", ".", "..":
			return fmt.Errorf("%s is not a path below the source", names.QuoteShort(string(path)))
		}
	}
	return nil
}

// The names of manifests: they travel with the copy, and become objects like everything else.
const (
	nameStart = "loadline-"
	nameEnd   = ".sha256"
)

// Name is the name of a manifest made at a time.
func Name(at time.Time) string {
	return nameStart + at.UTC().Format("20060102T150405Z") + nameEnd
}

// IsName reports whether a name is one that manifests get.
func IsName(name string) bool {
	rest, ok := strings.CutPrefix(name, nameStart)
	if !ok {
		return false
	}
	rest, ok = strings.CutSuffix(rest, nameEnd)
	return ok && strings.Trim(rest, "0123456789TZ-") == ""
}

// Sweep removes what writers of manifests that were cut off left in a folder. What cannot be removed stays.
func Sweep(dir string) { disk.Sweep(dir, 0, time.Now(), IsName) }

// Two ways to write a name into one line.
//
// sha256sum (GNU coreutils, "cksum output modes"): where a name holds a backslash, LF or CR, the
// line begins with a backslash and these stand as \\, \n and \r. Seen with coreutils 9.1.
//
// RFC 8493 §2.1.3: LF, CR and "%" stand as %0A, %0D and %25, everything else as it is.

// AppendSumLine appends one line as sha256sum writes it: digest, two spaces, name, LF.
// A name "-" alone would be standard input to sha256sum -c, so it is written "./-".
func AppendSumLine(dst []byte, digest, name []byte) []byte {
	escaped := bytes.ContainsAny(name, "\\\n\r")
	if escaped {
		dst = append(dst, '\\')
	}
	dst = hex.AppendEncode(dst, digest)
	dst = append(dst, ' ', ' ')
	switch {
	case len(name) == 1 && name[0] == '-':
		dst = append(dst, "./-"...)
	case escaped:
		dst = append(dst, escaper.Replace(string(name))...)
	default:
		dst = append(dst, name...)
	}
	return append(dst, '\n')
}

var escaper = strings.NewReplacer(`\`, `\\`, "\n", `\n`, "\r", `\r`)

// bagPath codes a path as a BagIt manifest holds it.
var bagPath = strings.NewReplacer("\n", "%0A", "\r", "%0D", "%", "%25")
