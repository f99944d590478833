package seal

import (
	"bufio"
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"io"
	"os"
	"path/filepath"
	"strconv"
	"sync"
	"time"
)

// The two sides of a comparison.
const (
	sourceSide = iota
	shareSide
)

// A journal remembers across runs what was read: a line for each file of each side, with its sums
// and the ident it had. It is only ever added to; a line that was cut or damaged does not count. A
// record is trusted only where the file still has that ident.
type journal struct {
	mu     sync.Mutex
	file   *os.File
	out    *bufio.Writer
	line   []byte
	synced time.Time
	every  time.Duration // how often what was added is handed to the system
	err    error
}

// A record is one line of a journal.
type record struct {
	side  int
	ident ident
	sums  Sums // of the share only SHA256 holds
	path  string
}

const journalFirst = "loadline proven 1\n"

// journalName names the journal of a pair of folders.
func journalName(dir, source, share, prefix string) string {
	h := sha256.New()
	for _, s := range []string{source, share, prefix} {
		_, _ = h.Write(binary.BigEndian.AppendUint64(nil, uint64(len(s)))) // a hash takes everything
		_, _ = io.WriteString(h, s)
	}
	return filepath.Join(dir, "proven", fmt.Sprintf("%x.log", h.Sum(nil)[:8]))
}

// openJournal opens a journal to be added to. Every good record of earlier runs goes to seen, oldest
// first; with fresh set they are forgotten.
func openJournal(name string, fresh bool, seen func(*record)) (*journal, error) {
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
	j := &journal{file: f, out: bufio.NewWriterSize(f, 1<<16), synced: time.Now()}
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
func readJournal(r io.Reader, seen func(*record)) (known bool, err error) {
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
func appendRecord(b []byte, r *record) []byte {
	start := len(b)
	b = append(b, "st"[r.side], ' ')
	b = appendHex(b, binary.BigEndian.AppendUint64(nil, uint64(r.ident)))
	b = append(b, ' ')
	b = appendHex(b, r.sums.SHA256[:])
	b = append(b, ' ')
	if r.sums.HasMD5 {
		b = appendHex(b, r.sums.MD5[:])
	} else {
		b = append(b, '-')
	}
	b = append(b, ' ')
	b = appendHex(b, crcBytes(r.sums.CRC32C))
	b = append(b, ' ')
	b = strconv.AppendQuoteToASCII(b, r.path)
	b = append(b, ' ')
	b = appendHex(b, crcBytes(crc32.Checksum(b[start:], castagnoli)))
	return append(b, '\n')
}

func parseRecord(line []byte) (*record, bool) {
	at := bytes.LastIndexByte(line, ' ')
	var sum [4]byte
	if at < 0 || !decodeHex(sum[:], line[at+1:]) || crc32.Checksum(line[:at+1], castagnoli) != binary.BigEndian.Uint32(sum[:]) {
		return nil, false
	}
	parts := bytes.SplitN(line[:at], []byte{' '}, 6)
	if len(parts) != 6 || len(parts[0]) != 1 {
		return nil, false
	}
	r := &record{side: bytes.IndexByte([]byte("st"), parts[0][0])}
	var id [8]byte
	var crc [4]byte
	if r.side < 0 || !decodeHex(id[:], parts[1]) || !decodeHex(r.sums.SHA256[:], parts[2]) || !decodeHex(crc[:], parts[4]) {
		return nil, false
	}
	if string(parts[3]) != "-" {
		if !decodeHex(r.sums.MD5[:], parts[3]) {
			return nil, false
		}
		r.sums.HasMD5 = true
	}
	r.ident, r.sums.CRC32C = ident(binary.BigEndian.Uint64(id[:])), binary.BigEndian.Uint32(crc[:])
	var err error
	if r.path, err = strconv.Unquote(string(parts[5])); err != nil {
		return nil, false
	}
	return r, true
}

// add remembers a record. A journal that cannot be written must not end the check: it is only slower
// the next time, and close tells.
func (j *journal) add(r *record) {
	if j == nil || r.ident == 0 {
		return
	}
	j.mu.Lock()
	defer j.mu.Unlock()
	if j.err != nil {
		return
	}
	j.line = appendRecord(j.line[:0], r)
	if _, j.err = j.out.Write(j.line); j.err == nil && time.Since(j.synced) > j.every {
		j.err = j.out.Flush()
		j.synced = time.Now()
	}
}

func (j *journal) close() error {
	if j == nil {
		return nil
	}
	j.mu.Lock()
	defer j.mu.Unlock()
	return errors.Join(j.err, j.out.Flush(), j.file.Close())
}
