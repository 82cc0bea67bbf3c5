//go:build !linux

package apart

import (
	"context"
	"io"
	"os/exec"
	"time"
)

// processes starts the program anew for each photo where it isn't known how a
// process that is ready could be forked.
type processes struct{}

func (*processes) run(ctx context.Context, command []string, in io.Reader, out, said io.Writer) (time.Duration, error) {
	c := exec.CommandContext(ctx, command[0], command[1:]...)
	c.Env = environment()
	c.Stdin, c.Stdout, c.Stderr = in, out, said
	c.WaitDelay = lastMoment
	err := c.Run()
	if c.ProcessState == nil {
		return 0, err
	}
	return c.ProcessState.UserTime() + c.ProcessState.SystemTime(), err
}

func (*processes) close() error { return nil }
