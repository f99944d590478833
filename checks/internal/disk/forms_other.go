//go:build !linux && !darwin

package disk

import "os"

// RespellsNames is not known here.
func RespellsNames(*os.File) bool { return false }
