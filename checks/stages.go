package checks

import (
	"context"
	"time"

	"loadline/checks/walk"
)

// What the stages after copying and after arrival share with the one before.

// ShareMounted returns the first check before copying. The stage after copying begins with it too:
// a copy that went into an unmounted folder is whole, and the appliance travels empty.
func ShareMounted() *Check { return shareMounted }

// Machine says where and as whom the checks run.
func Machine() string { return machine() }

// IsClutter reports whether a name is one that a desktop or an operating system leaves on a disk.
func IsClutter(name string) bool { return isClutter(name) }

// ClutterAbove returns the topmost part of a folder's path that is clutter, "" if none is.
func ClutterAbove(path string) string { return clutterAbove(path) }

// IsAppleDouble reports whether an entry is an AppleDouble file, by its name and its magic number. For
// use in a visit of a walk.
func IsAppleDouble(d *walk.Dir, e *walk.Entry) bool { return isAppleDouble(d, e) }

// Unfinished says by what mark a name tells that its file was not finished, "" if by none.
func Unfinished(name string) string { return unfinished(name) }

// WalkShare walks a share and gives up with share.ErrSilent when nothing has come back for the length
// of the deadline. Long is fine, silent is not.
func WalkShare(ctx context.Context, deadline time.Duration, root string, o walk.Options) error {
	return patient(ctx, deadline, root, o)
}
