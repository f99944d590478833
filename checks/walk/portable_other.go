//go:build !unix

package walk

import (
	"os"
)

const (
	openNoFollow = 0
	openNoWait   = 0
	openFolder   = 0

	// maxPath is out of reach: package os takes care of long paths here.
	maxPath = 1 << 30
)

// access tries: there is no call that answers without opening.
func access(path string, _ bool) error {
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	return f.Close()
}
