package fix

import (
	"os"

	"loadline/checks/internal/disk"
	"loadline/checks/names"
)

// A disk that spells names in a form of its own lists another name than it was given: HFS+ stores
// letters with marks as a letter and its marks (Apple Technical Note TN1150, from memory), and Linux
// puts them together again by a table that differs from Unicode's (measured, Linux 6.1). There a
// rename to Normalization Form C changes nothing; and where Linux does store a name as it is given,
// because its table lacks a letter or the disk is mounted with nodecompose, the system that wrote the
// disk looks for it in vain.
const (
	whyRespelled = "the name is not in Unicode Normalization Form C, but this disk (HFS+) stores accented letters in a form of its own, " +
		"whatever name a file is given, so a rename changes nothing"
	fixRespelled = "Copy it as it is, or give it a name without accented letters: a plan for portable names does."
)

// respells reports whether the disk of a folder spells names in a form of its own.
func respells(root *os.Root) bool {
	dir, err := root.Open(".")
	if err != nil {
		return false
	}
	defer dir.Close()
	return disk.RespellsNames(dir)
}

// spellings finds the names of a folder by their Normalization Form C, as far as they have another.
func spellings(list map[string]bool) map[string]string {
	forms := map[string]string{}
	for name := range list {
		if names.Look(name).Any(names.NotASCII) {
			forms[names.NFC(name)] = name
		}
	}
	return forms
}

// listedAs returns the name in the list of a folder by which a file is listed that was given a name,
// "" if none: the name itself, else what a disk with a form of its own may have made of it. Whether
// it did, only looking for the name tells: elsewhere the two are strangers.
func listedAs(name string, list map[string]bool, forms map[string]string) string {
	if list[name] {
		return name
	}
	if as := forms[names.NFC(name)]; list[as] {
		return as
	}
	return ""
}
