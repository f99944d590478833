package disk

import (
	"fmt"
	"os"
	"os/exec"
)

func keepAwake(string) (release func(), means string, err error) {
	program, args := caffeinate(os.Getpid())
	cmd := exec.Command(program, args...)
	cmd.Dir = "/" // it must not keep a disk from being ejected
	if err := cmd.Start(); err != nil {
		return nil, "", fmt.Errorf("caffeinate: %w", err)
	}
	ended := make(chan struct{})
	go func() { _ = cmd.Wait(); close(ended) }()
	return func() {
		_ = cmd.Process.Kill() // it may have ended
		<-ended
	}, "caffeinate", nil
}
