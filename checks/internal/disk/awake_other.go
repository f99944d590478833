//go:build !linux && !darwin && !windows

package disk

import "errors"

func keepAwake(string) (release func(), means string, err error) {
	return nil, "", errors.ErrUnsupported
}
