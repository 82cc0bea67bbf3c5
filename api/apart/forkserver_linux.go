package apart

// #cgo CFLAGS: -std=gnu11 -Wall -Wextra
import "C"

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"sync"
	"syscall"
	"time"

	"golang.org/x/sys/unix"
)

// processes forks a process for each photo from one that was started once.
// Loading the program with OpenCV and the two hundred libraries behind it takes
// a quarter of a second of processor time, a fork a few milliseconds, and what
// one process does to its memory no other sees.
type processes struct {
	mu     sync.Mutex
	server *exec.Cmd
	line   *os.File
	said   *bounded
}

// run gives a process its input, takes what it writes, and waits for its end,
// or that of ctx, which ends it. It tells the processor time that it took.
func (p *processes) run(ctx context.Context, command []string, in io.Reader, out, said io.Writer) (time.Duration, error) {
	var theirs, ours [4]*os.File // standard input, output, error; word of the end
	defer func() {
		for i := range ours {
			ours[i].Close() // a nil file may be closed
			theirs[i].Close()
		}
	}()
	for i := range ours {
		r, w, err := os.Pipe()
		if err != nil {
			return 0, err
		}
		if ours[i], theirs[i] = r, w; i == 0 {
			ours[i], theirs[i] = w, r
		}
	}
	if err := p.fork(command, theirs[:]); err != nil {
		return 0, err
	}
	for _, f := range theirs {
		f.Close()
	}
	// Whatever waits on one of our ends waits no longer than ctx, and a little
	// for what a process that ended left in them.
	end := context.AfterFunc(ctx, func() {
		ours[3].Close() // nobody hears of its end: the process is ended
		for _, f := range ours[:3] {
			f.SetDeadline(time.Now().Add(lastMoment)) // a pipe always can
		}
	})
	defer end()
	var wait sync.WaitGroup
	var failed error
	wait.Go(func() {
		// A process may end before it has read all: how it ended says why.
		_, _ = io.Copy(ours[0], in)
		ours[0].Close()
	})
	wait.Go(func() {
		if _, failed = io.Copy(out, ours[1]); failed != nil {
			ours[3].Close()
		}
	})
	wait.Go(func() { _, _ = io.Copy(said, ours[2]) })
	var status, micros int64
	_, err := fmt.Fscanf(ours[3], "%d %d\n", &status, &micros)
	wait.Wait()
	spent := time.Duration(micros) * time.Microsecond
	switch w := syscall.WaitStatus(status); {
	case ctx.Err() != nil:
		return spent, ctx.Err()
	case failed != nil:
		return spent, failed
	case err != nil:
		return spent, fmt.Errorf("nothing was heard of a process's end: %w", err)
	case w.Signaled():
		return spent, fmt.Errorf("ended by the signal %v", w.Signal())
	case w.ExitStatus() != 0:
		return spent, fmt.Errorf("ended with status %d", w.ExitStatus())
	}
	return spent, nil
}

// fork has a process made whose first files these are. A server that is gone,
// as after the machine ran out of memory, is started again, once.
func (p *processes) fork(command []string, files []*os.File) error {
	p.mu.Lock()
	defer p.mu.Unlock()
	var fds []int
	for _, f := range files {
		fds = append(fds, int(f.Fd()))
	}
	var err error
	for range 2 {
		if p.server == nil {
			if err = p.start(command); err != nil {
				return err
			}
		}
		if err = unix.Sendmsg(int(p.line.Fd()), []byte{0}, unix.UnixRights(fds...), nil, unix.MSG_NOSIGNAL); err == nil {
			return nil
		}
		err = errors.Join(err, p.stop())
	}
	return err
}

func (p *processes) start(command []string) error {
	pair, err := unix.Socketpair(unix.AF_UNIX, unix.SOCK_SEQPACKET|unix.SOCK_CLOEXEC, 0)
	if err != nil {
		return err
	}
	ours, theirs := os.NewFile(uintptr(pair[0]), "fork server"), os.NewFile(uintptr(pair[1]), "fork server")
	defer theirs.Close()
	c := exec.Command(command[0], command[1:]...)
	// OpenBLAS, which OpenCV brings along, would start threads as it is loaded,
	// which spin.
	c.Env = append(environment(), "NODESPAN_FORK_SERVER=1", "OPENBLAS_NUM_THREADS=1")
	c.ExtraFiles = []*os.File{theirs} // the third, as in forkserver_linux.c
	c.WaitDelay = lastMoment
	// Signals that the terminal sends to all are not for it. It ends when the
	// line does, and so with this process, whatever happens to that.
	c.SysProcAttr = &syscall.SysProcAttr{Setpgid: true}
	p.said = &bounded{left: lastWords, quiet: true}
	c.Stderr = p.said
	if err := c.Start(); err != nil {
		ours.Close()
		return err
	}
	p.server, p.line = c, ours
	return nil
}

// stop ends the server, and tells what it said if it didn't end well.
func (p *processes) stop() error {
	if p.server == nil {
		return nil
	}
	p.line.Close()
	err := p.server.Wait()
	if err != nil {
		err = fmt.Errorf("the fork server: %w: %s", err, p.said.Bytes())
	}
	p.server, p.line = nil, nil
	return err
}

// close ends the server; a later run starts another.
func (p *processes) close() error {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.stop()
}
