package share

import (
	"bytes"
	"context"
	"os/exec"
	"time"
)

func battery() (onBattery, known bool) {
	ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
	defer cancel()
	text, err := exec.CommandContext(ctx, "/usr/bin/pmset", "-g", "batt").Output()
	if err != nil {
		return false, false
	}
	return ParsePowerSource(bytes.NewReader(text))
}
