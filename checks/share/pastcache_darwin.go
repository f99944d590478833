package share

import (
	"os"

	"golang.org/x/sys/unix"
)

// pastCache opens a file that the place made so that reading it does not fill or use this machine's
// cache as far as the system can help it (fcntl(2), F_NOCACHE).
func (p *place) pastCache(name string) (*os.File, string, error) {
	f, err := p.reopen(name, 0)
	if err != nil {
		return nil, "", err
	}
	if _, err := unix.FcntlInt(f.Fd(), unix.F_NOCACHE, 1); err != nil {
		return f, "", nil // read from the cache, and said so
	}
	return f, "F_NOCACHE", nil
}
