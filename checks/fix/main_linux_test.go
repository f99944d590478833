//go:build !rig

package fix

import (
	"os"
	"testing"

	"loadline/checks/internal/fixture"
)

func TestMain(m *testing.M) { os.Exit(fixture.Apart(m)) }
