package share

import "unsafe"

// directAlign is what reading past the cache asks of buffers, offsets and lengths on every file
// system that is not odder than its disks (open(2), O_DIRECT).
const directAlign = 4096

// alignedBuffer makes a buffer whose address can be read into past the cache.
func alignedBuffer(size int) []byte {
	b := make([]byte, size+directAlign)
	skip := 0
	if r := int(uintptr(unsafe.Pointer(unsafe.SliceData(b))) % directAlign); r != 0 {
		skip = directAlign - r
	}
	return b[skip : skip+size : skip+size]
}
