// Package schema holds the published JSON schemas, for tests that run away from this folder.
package schema

import "embed"

//go:embed *.json
var Files embed.FS
