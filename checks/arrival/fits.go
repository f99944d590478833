package arrival

import (
	"bufio"
	"crypto/sha256"
	"encoding/binary"
	"fmt"
	"hash/crc32"
	"io"
	"os"
	"path/filepath"

	"loadline/checks/digest"
)

// fits remembers which sizes of parts fitted which states of files, so that a run that was stopped goes on where
// it was. It is in a file of the state folder that is only ever added to; a record that was cut or damaged does
// not count. Where nothing can be remembered, files are read again.
type fits struct {
	name string
	at   map[[16]byte]int64
	out  *os.File
}

const (
	fitsFirst = "loadline parts 1\n"
	fitRecord = 16 + 8 + 4 // key, size of the parts, CRC-32 of both
)

// recallFits opens what is remembered of a disk.
func recallFits(state, id string) *fits {
	if state == "" {
		return nil
	}
	sum := sha256.Sum256([]byte(id))
	f := &fits{name: filepath.Join(state, "parts", fmt.Sprintf("%x.log", sum[:8])), at: map[[16]byte]int64{}}
	in, err := os.Open(f.name)
	if err != nil {
		return f
	}
	defer in.Close()
	r := bufio.NewReader(in)
	first := make([]byte, len(fitsFirst))
	if _, err := io.ReadFull(r, first); err != nil || string(first) != fitsFirst {
		return f
	}
	var b [fitRecord]byte
	for {
		if _, err := io.ReadFull(r, b[:]); err != nil {
			return f
		}
		if binary.BigEndian.Uint32(b[24:]) == crc32.ChecksumIEEE(b[:24]) {
			f.at[[16]byte(b[:16])] = int64(binary.BigEndian.Uint64(b[16:]))
		}
	}
}

func (f *fits) known() int {
	if f == nil {
		return 0
	}
	return len(f.at)
}

// fitKey tells the state of a file, its content and a checksum of parts from all others; the zero key is none.
func fitKey(id digest.Ident, content [32]byte, p *pendingSum, count int) (key [16]byte) {
	if id == 0 {
		return key
	}
	b := binary.BigEndian.AppendUint64(nil, uint64(id))
	b = append(b, content[:]...)
	b = append(b, byte(p.digest.Kind))
	b = binary.BigEndian.AppendUint64(b, uint64(count))
	b = append(b, p.digest.Bytes()...)
	sum := sha256.Sum256(b)
	copy(key[:], sum[:])
	return key
}

func (f *fits) find(key [16]byte) (size int64, ok bool) {
	if f == nil {
		return 0, false
	}
	size, ok = f.at[key]
	return size, ok && key != [16]byte{}
}

// add remembers a size; that it cannot be is no harm.
func (f *fits) add(key [16]byte, size int64) {
	if f == nil || key == [16]byte{} {
		return
	}
	if f.out == nil {
		if err := f.open(); err != nil {
			return
		}
	}
	b := append(make([]byte, 0, fitRecord), key[:]...)
	b = binary.BigEndian.AppendUint64(b, uint64(size))
	b = binary.BigEndian.AppendUint32(b, crc32.ChecksumIEEE(b))
	_, _ = f.out.Write(b) // what is cut does not count
}

func (f *fits) open() error {
	if err := os.MkdirAll(filepath.Dir(f.name), 0o700); err != nil {
		return err
	}
	out, err := os.OpenFile(f.name, os.O_CREATE|os.O_RDWR|os.O_APPEND, 0o600)
	if err != nil {
		return err
	}
	info, err := out.Stat()
	if err != nil {
		out.Close()
		return err
	}
	// Every record begins at a whole one, and a file of another kind begins anew.
	if over := (info.Size() - int64(len(fitsFirst))) % fitRecord; info.Size() < int64(len(fitsFirst)) || len(f.at) == 0 || over < 0 {
		if err := out.Truncate(0); err != nil {
			out.Close()
			return err
		}
		if _, err := io.WriteString(out, fitsFirst); err != nil {
			out.Close()
			return err
		}
	} else if over > 0 {
		if err := out.Truncate(info.Size() - over); err != nil {
			out.Close()
			return err
		}
	}
	f.out = out
	return nil
}

func (f *fits) close() {
	if f != nil && f.out != nil {
		_ = f.out.Close() // what could not be written is read again
	}
}
