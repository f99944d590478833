// Package release looks at what people install, on the systems for which it is meant: at the packages in
// bin/packages, which go run ./cmd/dev test -release -only packages makes. All of it is tests, with the
// build tag release.
package release
