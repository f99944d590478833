package digest

import (
	"bufio"
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"fmt"
	"hash/crc32"
	"io"
	"os"
	"path/filepath"
	"strconv"
	"sync"
	"time"

	"loadline/checks/internal/sums"
)

// The two sides of a comparison.
const (
	Source = iota
	Share
)

// A Journal remembers across runs what was read: a line for each file of each side, with its sums
// and the ident it had. It is only ever added to; a line that was cut or damaged does not count. A
// record is trusted only where the file still has that ident.
type Journal struct {
	mu     sync.Mutex
	file   *os.File
	out    *bufio.Writer
	line   []byte
	synced time.Time
	Every  time.Duration // how often what was added is handed to the system
	err    error
}

// A Record is one line of a journal.
type Record struct {
	Side  int
	Ident Ident
	Sums  sums.Sums // of the share only SHA256 holds
	Path  string
}

const journalFirst = "loadline proven 1\n"

// JournalName names the journal of a pair of folders.
func JournalName(dir, source, share, prefix string) string {
	h := sha256.New()
	for _, s := range []string{source, share, prefix} {
		_, _ = h.Write(binary.BigEndian.AppendUint64(nil, uint64(len(s)))) // a hash takes everything
		_, _ = io.WriteString(h, s)
	}
	return filepath.Join(dir, "proven", fmt.Sprintf("%x.log", h.Sum(nil)[:8]))
}

// OpenJournal opens a journal to be added to. Every good record of earlier runs goes to seen, oldest
// first; with fresh set they are forgotten.
func OpenJournal(name string, fresh bool, seen func(*Record)) (*Journal, error) {
	if err := os.MkdirAll(filepath.Dir(name), 0o700); err != nil {
		return nil, err
	}
	mode := os.O_RDWR | os.O_CREATE | os.O_APPEND
	if fresh {
		mode |= os.O_TRUNC
	}
	f, err := os.OpenFile(name, mode, 0o600)
	if err != nil {
		return nil, err
	}
	j := &Journal{file: f, out: bufio.NewWriterSize(f, 1<<16), synced: time.Now()}
	known, err := readJournal(f, seen)
	if err == nil && !known {
		// New, or of another version: begin anew.
		if err = f.Truncate(0); err == nil {
			_, err = f.WriteString(journalFirst)
		}
	} else if err == nil {
		// A line that was cut must not swallow the next one.
		_, err = f.WriteString("\n")
	}
	if err != nil {
		return nil, errors.Join(err, f.Close())
	}
	return j, nil
}

// readJournal reads all good records; known is false where it is no journal of this version.
func readJournal(r io.Reader, seen func(*Record)) (known bool, err error) {
	in := bufio.NewReaderSize(r, 1<<16)
	first, err := in.ReadString('\n')
	if errors.Is(err, io.EOF) || err == nil && first != journalFirst {
		return false, nil
	}
	for err == nil {
		var line []byte
		line, err = in.ReadSlice('\n')
		if errors.Is(err, bufio.ErrBufferFull) {
			// Longer than any record: pass over its rest.
			for errors.Is(err, bufio.ErrBufferFull) {
				_, err = in.ReadSlice('\n')
			}
			continue
		}
		if err == nil && len(line) > 1 {
			if rec, ok := parseRecord(line[:len(line)-1]); ok {
				seen(rec)
			}
		}
	}
	if errors.Is(err, io.EOF) {
		return true, nil
	}
	return true, err
}

// appendRecord writes "s|t ident sha256 md5|- crc32c path sum", the last being the CRC-32C of all
// before it.
func appendRecord(b []byte, r *Record) []byte {
	start := len(b)
	b = append(b, "st"[r.Side], ' ')
	b = hex.AppendEncode(b, binary.BigEndian.AppendUint64(nil, uint64(r.Ident)))
	b = append(b, ' ')
	b = hex.AppendEncode(b, r.Sums.SHA256[:])
	b = append(b, ' ')
	if r.Sums.HasMD5 {
		b = hex.AppendEncode(b, r.Sums.MD5[:])
	} else {
		b = append(b, '-')
	}
	b = append(b, ' ')
	b = hex.AppendEncode(b, binary.BigEndian.AppendUint32(nil, r.Sums.CRC32C))
	b = append(b, ' ')
	b = strconv.AppendQuoteToASCII(b, r.Path)
	b = append(b, ' ')
	b = hex.AppendEncode(b, binary.BigEndian.AppendUint32(nil, crc32.Checksum(b[start:], sums.Castagnoli)))
	return append(b, '\n')
}

func parseRecord(line []byte) (*Record, bool) {
	at := bytes.LastIndexByte(line, ' ')
	var sum [4]byte
	if at < 0 || !sums.FromHex(sum[:], line[at+1:]) || crc32.Checksum(line[:at+1], sums.Castagnoli) != binary.BigEndian.Uint32(sum[:]) {
		return nil, false
	}
	parts := bytes.SplitN(line[:at], []byte{' '}, 6)
	if len(parts) != 6 || len(parts[0]) != 1 {
		return nil, false
	}
	r := &Record{Side: bytes.IndexByte([]byte("st"), parts[0][0])}
	var id [8]byte
	var crc [4]byte
	if r.Side < 0 || !sums.FromHex(id[:], parts[1]) || !sums.FromHex(r.Sums.SHA256[:], parts[2]) || !sums.FromHex(crc[:], parts[4]) {
		return nil, false
	}
	if string(parts[3]) != "-" {
		if !sums.FromHex(r.Sums.MD5[:], parts[3]) {
			return nil, false
		}
		r.Sums.HasMD5 = true
	}
	r.Ident, r.Sums.CRC32C = Ident(binary.BigEndian.Uint64(id[:])), binary.BigEndian.Uint32(crc[:])
	var err error
	if r.Path, err = strconv.Unquote(string(parts[5])); err != nil {
		return nil, false
	}
	return r, true
}

// Add remembers a record. A journal that cannot be written must not end the check: it is only slower
// the next time, and close tells.
func (j *Journal) Add(r *Record) {
	if j == nil || r.Ident == 0 {
		return
	}
	j.mu.Lock()
	defer j.mu.Unlock()
	if j.err != nil {
		return
	}
	j.line = appendRecord(j.line[:0], r)
	if _, j.err = j.out.Write(j.line); j.err == nil && time.Since(j.synced) > j.Every {
		j.err = j.out.Flush()
		j.synced = time.Now()
	}
}

func (j *Journal) Close() error {
	if j == nil {
		return nil
	}
	j.mu.Lock()
	defer j.mu.Unlock()
	return errors.Join(j.err, j.out.Flush(), j.file.Close())
}
