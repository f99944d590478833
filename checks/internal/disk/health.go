package disk

import "slices"

// A report of a disk's own health, as far as it is asked for (SMART: ATA/ATAPI Command Set; NVM Express Base
// Specification).
type report struct {
	device     string
	read       bool // the disk has reported
	failing    bool
	badSectors int64    // that it knows of; below 0 unknown
	warnings   []string // its own words
}

func (r *report) troubles() (found []Trouble) {
	if r.failing {
		found = append(found, Trouble{Sign: HealthFailing, Device: r.device})
	}
	if r.badSectors > 0 {
		found = append(found, Trouble{Sign: BadSectors, Device: r.device, Count: uint64(r.badSectors)})
	}
	slices.Sort(r.warnings)
	for _, w := range r.warnings {
		found = append(found, Trouble{Sign: HealthWarning, Device: r.device, Detail: w})
	}
	return found
}
