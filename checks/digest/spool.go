package digest

import (
	"io"
	"os"
)

// A spool holds bytes that would take too much memory, in a temporary file. Where none can be made or
// written, they stay in memory.
type spool struct {
	memory []byte // all, or what is not in the file yet
	file   *os.File
	filed  int64 // bytes in the file
}

// spoolMemory is how much is kept in memory before a file is made, and how much is written at a time, bytes.
const spoolMemory = 4 << 20

func (s *spool) size() int64 { return s.filed + int64(len(s.memory)) }

// add appends and returns where that begins.
func (s *spool) add(b []byte) (at int64) {
	at = s.size()
	s.memory = append(s.memory, b...)
	if len(s.memory) >= spoolMemory {
		s.flush()
	}
	return at
}

// flush moves what is in memory into the file.
func (s *spool) flush() {
	if s.file == nil {
		if s.filed < 0 || len(s.memory) < spoolMemory {
			return
		}
		f, err := os.CreateTemp("", "loadline-*")
		if err != nil {
			return // all stays where it is, and grows as slices do
		}
		_ = os.Remove(f.Name()) // it goes with the program, however that ends; where that is refused, close removes it
		s.file = f
	}
	n, err := s.file.WriteAt(s.memory, s.filed)
	if err != nil {
		s.home()
		return
	}
	s.filed += int64(n)
	s.memory = s.memory[:0]
}

// home takes back into memory what is in a file that cannot be written any more.
func (s *spool) home() {
	all := make([]byte, s.filed, s.filed+int64(2*len(s.memory)))
	if _, err := s.file.ReadAt(all, 0); err != nil {
		all = all[:0] // a temporary file that cannot be read: what was in it is lost, and count tells
	}
	s.memory = append(all, s.memory...)
	s.close()
}

// ReadAt reads like io.ReaderAt.
func (s *spool) ReadAt(p []byte, off int64) (n int, err error) {
	if off < s.filed {
		if n, err = s.file.ReadAt(p[:min(int64(len(p)), s.filed-off)], off); err != nil {
			return n, err
		}
		off += int64(n)
	}
	if off-s.filed >= int64(len(s.memory)) && n < len(p) {
		return n, io.EOF
	}
	if n < len(p) {
		n += copy(p[n:], s.memory[off-s.filed:])
	}
	if n < len(p) {
		return n, io.EOF
	}
	return n, nil
}

// WriteAt changes bytes that were added before.
func (s *spool) WriteAt(p []byte, off int64) (int, error) {
	if off >= s.filed {
		return copy(s.memory[off-s.filed:], p), nil
	}
	if over := off + int64(len(p)) - s.filed; over > 0 {
		head := len(p) - int(over)
		copy(s.memory, p[head:])
		p = p[:head]
	}
	return s.file.WriteAt(p, off)
}

func (s *spool) close() {
	if s.file != nil {
		_ = s.file.Close()           // nobody reads it again
		_ = os.Remove(s.file.Name()) // gone already, but for systems that keep the names of open files
		s.file, s.filed = nil, 0
	}
}
