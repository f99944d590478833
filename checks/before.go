package checks

// BeforeList returns the checks before copying, in their order: those of the share first, since
// they are cheap, decisive, and tell the checks of names what the share does.
func BeforeList() []*Check {
	return []*Check{
		shareMounted, mountOptions, shareWrites, shareNames,
		permissions, freeSpace,
		nameLength, nameCharacters, nameTwins, pathDepth,
		symlinks, fileKinds, clutter, stillChanging, metadata, folderLoad,
		copyTime,
	}
}
