package share

import (
	"os"

	"golang.org/x/sys/windows"
)

// pastCache opens a file that the place made so that reading it asks the server or the disk
// (CreateFile, FILE_FLAG_NO_BUFFERING), or says that it could not.
func (p *place) pastCache(name string) (*os.File, string, error) {
	if f, err := p.reopen(name, windows.O_FILE_FLAG_NO_BUFFERING); err == nil {
		if _, err = f.Read(alignedBuffer(directAlign)); err == nil {
			if _, err = f.Seek(0, 0); err == nil {
				return f, "FILE_FLAG_NO_BUFFERING", nil
			}
		}
		f.Close()
	}
	f, err := p.reopen(name, 0)
	return f, "", err
}
