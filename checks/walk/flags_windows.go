package walk

import (
	"io/fs"
	"syscall"

	"golang.org/x/sys/windows"
)

// fillSystem takes over whether the content of a file lies here at all: of one that is kept on a server, or on tape,
// it comes only when it is read (File Attribute Constants).
func fillSystem(e *Entry, info fs.FileInfo) (dev uint64) {
	const elsewhere = windows.FILE_ATTRIBUTE_RECALL_ON_DATA_ACCESS | windows.FILE_ATTRIBUTE_OFFLINE
	if a, ok := info.Sys().(*syscall.Win32FileAttributeData); ok {
		e.Dataless = e.Kind == File && a.FileAttributes&elsewhere != 0
	}
	return 0
}
