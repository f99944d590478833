//go:build unix

package digest

import (
	"bufio"
	"fmt"
	"os"
	"os/exec"
	"strconv"
	"testing"

	"loadline/checks/internal/fixture"
)

const killFiles = compactFrom

// TestKilledWhileCompacting kills a program that adds and writes anew without end, at whatever it is doing, again and
// again. What it had remembered before is there, and the next run goes on with it.
func TestKilledWhileCompacting(t *testing.T) {
	const env, begin = "LOADLINE_TEST_MEMORY", "LOADLINE_TEST_STATE"
	if dir := os.Getenv(env); dir != "" {
		state, err := strconv.Atoi(os.Getenv(begin))
		fixture.Must(t, err)
		for ; ; state++ {
			remember(t, dir, 0, killFiles, state)
			fmt.Println(state)
		}
	}
	dir := t.TempDir()
	state := 0
	for round := range 8 {
		cmd := exec.Command(os.Args[0], "-test.run", "^TestKilledWhileCompacting$")
		cmd.Env = append(os.Environ(), env+"="+dir, begin+"="+strconv.Itoa(state+1))
		out, err := cmd.StdoutPipe()
		fixture.Must(t, err)
		fixture.Must(t, cmd.Start())
		lines := bufio.NewScanner(out)
		for range 1 + round%3 {
			if !lines.Scan() {
				t.Fatal("the program ended by itself")
			}
			state, err = strconv.Atoi(lines.Text())
			fixture.Must(t, err)
		}
		fixture.Must(t, cmd.Process.Kill())
		for lines.Scan() { // what it got done until then
			if n, err := strconv.Atoi(lines.Text()); err == nil {
				state = n
			}
		}
		_ = cmd.Wait() // killed
		m, err := Recall(dir, "disk")
		fixture.Must(t, err)
		for i := range killFiles {
			r, ok := m.Earlier(found(i, 0).Kin)
			if !ok || !same(r, *found(i, state)) && !same(r, *found(i, state+1)) {
				t.Fatalf("round %d, file %d: %+v, want state %d or the next", round, i, r, state)
			}
		}
		fixture.Must(t, m.Close())
	}
	remember(t, dir, 0, killFiles, state+2)
	holds(t, dir, 0, killFiles, state+2)
}
