package before

import (
	"os"

	"loadline/checks"
	"loadline/checks/walk"
)

// A reader knows for most files from their mode alone that this process may read them, which saves
// a call to the system for each.
type reader struct {
	uid uint32
	all bool // a capability that overrides permissions
}

func readerOf(pass *checks.Pass) reader {
	r := reader{uid: uint32(os.Geteuid())}
	// A server or a FUSE daemon has its own view of root: there, every file is asked for.
	r.all = overridesPermissions()
	for i := range pass.Job.Disks() {
		m, known := pass.SourceMount(i)
		r.all = r.all && known && !m.Remote()
	}
	return r
}

// surely reports whether e can be read without doubt. The owner's bits are the owner's entry in an
// access list too (acl(5)), so they decide alone; for anybody else the system is to be asked.
func (r *reader) surely(e *walk.Entry) bool {
	return r.all || e.UID == r.uid && e.Perm&0o400 != 0 && os.PathSeparator == '/'
}
