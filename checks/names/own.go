package names

import "strings"

// OwnPrefix begins the name of everything that Loadline itself leaves on a disk or a share: journals
// of renames, names on their way to another, trial folders.
const OwnPrefix = ".loadline-"

// Own reports whether a name is one that Loadline itself gave.
func Own(name string) bool { return strings.HasPrefix(name, OwnPrefix) }
