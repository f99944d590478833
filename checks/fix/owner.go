package fix

import "os"

// owner is whose a file is, by number. Only root may give files to others.
type owner struct {
	Known bool `json:"known"`
	UID   int  `json:"uid"`
	GID   int  `json:"gid"`
}

// give makes a file or a link somebody's, as far as the system and the disk let it be done: the copy that
// root makes of a person's file must be readable by that person.
func (o owner) give(root *os.Root, path string) {
	if o.Known && os.Geteuid() == 0 {
		_ = root.Lchown(path, o.UID, o.GID)
	}
}
