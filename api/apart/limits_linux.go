package apart

import (
	"errors"
	"os"
	"strconv"

	"golang.org/x/sys/unix"
)

// bound sets this process's limits; it can't raise them again.
func bound(l Limits, do string) error {
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
	return stepBehind(behindFor(do))
}

// behindFor is how much nicer a process for a photo is than others. Where both
// want a processor, pages get ten times as much of it as a measurement, and three
// times as much as what somebody waits for: a copy, a look, a traced cane. Further
// behind, any other busy program of the machine would keep photos from being
// measured at all.
func behindFor(do string) int {
	if do == doMeasure {
		return 10
	}
	return 5
}

// stepBehind lets pages be answered before photos are worked on. On Linux a
// priority is each thread's own, so that of all that are there is set, again
// until none is found that came from one that wasn't set yet. A service that was
// started behind others stays there, and couldn't come forward.
func stepBehind(by int) error {
	for range 10 {
		threads, err := os.ReadDir("/proc/self/task")
		if err != nil {
			// Without that folder the threads can't be told: this one at least.
			_, err := step(0, by)
			return err
		}
		moved := false
		for _, t := range threads {
			id, err := strconv.Atoi(t.Name())
			if err != nil {
				return err
			}
			m, err := step(id, by)
			if err != nil && !errors.Is(err, unix.ESRCH) { // ended meanwhile
				return err
			}
			moved = moved || m
		}
		if !moved {
			return nil
		}
	}
	return nil
}

// step moves one thread behind others, 0 for this one, unless it is there.
func step(thread, by int) (moved bool, err error) {
	now, err := unix.Getpriority(unix.PRIO_PROCESS, thread)
	if err != nil || 20-now >= by { // the kernel's own count, getpriority(2)
		return false, err
	}
	return true, unix.Setpriority(unix.PRIO_PROCESS, thread, by)
}
