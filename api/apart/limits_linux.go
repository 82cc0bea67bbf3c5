package apart

import (
	"os/exec"
	"syscall"

	"golang.org/x/sys/unix"
)

// bound sets this process's limits; it can't raise them again.
func bound(l Limits) error {
	seconds := uint64(max(l.CPU.Seconds(), 1))
	for _, x := range []struct {
		what      int
		soft, top uint64
	}{
		{unix.RLIMIT_AS, l.AddressBytes, l.AddressBytes},
		{unix.RLIMIT_DATA, l.DataBytes, l.DataBytes},
		{unix.RLIMIT_CPU, seconds, seconds + 1},
		{unix.RLIMIT_FSIZE, 0, 0}, // no file may be written; a pipe is none
		{unix.RLIMIT_CORE, 0, 0},
		{unix.RLIMIT_NOFILE, 64, 64},
	} {
		if err := unix.Setrlimit(x.what, &unix.Rlimit{Cur: x.soft, Max: x.top}); err != nil {
			return err
		}
	}
	// No program that it might start gets more rights than it has.
	if err := unix.Prctl(unix.PR_SET_NO_NEW_PRIVS, 1, 0, 0, 0); err != nil {
		return err
	}
	// Pages are answered before photos are measured. A service that was started
	// behind others already stays there, and couldn't come forward.
	const behind = 5
	now, err := unix.Getpriority(unix.PRIO_PROCESS, 0)
	if err != nil {
		return err
	}
	if 20-now >= behind { // the kernel's own count, getpriority(2)
		return nil
	}
	return unix.Setpriority(unix.PRIO_PROCESS, 0, behind)
}

// tie has the process end with this one, whatever happens to it, and keeps
// signals that the terminal sends to all from it.
func tie(c *exec.Cmd) {
	c.SysProcAttr = &syscall.SysProcAttr{Setpgid: true, Pdeathsig: syscall.SIGKILL}
}
