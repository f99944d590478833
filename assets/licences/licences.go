// Package licences holds the licences of Loadline and of everything that is built into it. The text is
// made by a test of cmd/dev/pack, which fails once it is no longer what the build needs.
package licences

import _ "embed"

//go:embed licences.txt
var text string

// Text returns all licences, each below the names of what it covers.
func Text() string { return text }
