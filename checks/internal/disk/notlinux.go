//go:build !linux

package disk

import "context"

// Troubles is not known here: the system tells nobody what it has counted.
func Troubles(string) (found []Trouble, asked []string, err error) { return nil, nil, nil }

// Health is not asked for here.
func Health(context.Context, string) (found []Trouble, asked []string, err error) {
	return nil, nil, nil
}

// quietRead would leave the date of the last reading as it is; the system offers nothing like it.
const quietRead = 0

// inLargePages is not asked for here.
func inLargePages([]byte) {}
