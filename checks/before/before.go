// Package before is the stage before copying: the checks of the share, of names and of files, one file
// a family, and their order.
package before

import "loadline/checks"

// List returns the checks before copying, in their order: those of the share first, since
// they are cheap, decisive, and tell the checks of names what the share does.
func List() []*checks.Check {
	return []*checks.Check{
		ShareMounted, mountOptions, shareWrites, shareNames,
		permissions, freeSpace,
		nameLength, nameCharacters, nameTwins, pathDepth,
		symlinks, fileKinds, clutter, stillChanging, metadata, clipsWhole,
		everyByteReads, folderLoad,
		copyTime,
	}
}
