// The fork server: the program once loaded, which forks a process for each photo.
// It runs as a constructor, after the libraries are loaded and before the Go
// runtime, with its threads, begins: only there may a program that is to become
// a Go program still be forked. See forkserver_linux.go for the other side.

#include <errno.h>
#include <poll.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/prctl.h>
#include <sys/resource.h>
#include <sys/socket.h>
#include <sys/wait.h>
#include <unistd.h>

enum { LINE = 3, FILES = 4 }; // as in forkserver_linux.go

static void woken(int signal) { (void)signal; }

// die_with has this process end with the one that forked it.
static void die_with(pid_t parent) {
	prctl(PR_SET_PDEATHSIG, SIGKILL);
	if (getppid() != parent) _exit(1);
}

// receive takes the files of the next photo's process: 1, or 0 where nobody
// will send any more.
static int receive(int files[FILES]) {
	union {
		struct cmsghdr head;
		char room[CMSG_SPACE(FILES * sizeof(int))];
	} beside;
	char byte;
	struct iovec text = {.iov_base = &byte, .iov_len = 1};
	for (;;) {
		while (waitpid(-1, NULL, WNOHANG) > 0) {}
		struct msghdr m = {.msg_iov = &text, .msg_iovlen = 1, .msg_control = &beside, .msg_controllen = sizeof beside};
		ssize_t n = recvmsg(LINE, &m, MSG_CMSG_CLOEXEC);
		if (n < 0 && errno == EINTR) continue;
		if (n <= 0) return 0;
		struct cmsghdr *c = CMSG_FIRSTHDR(&m);
		if (c == NULL || c->cmsg_type != SCM_RIGHTS || c->cmsg_len != CMSG_LEN(FILES * sizeof(int))) return 0;
		memcpy(files, CMSG_DATA(c), FILES * sizeof(int));
		return 1;
	}
}

// keep waits for a photo's process, ends it when nobody reads from `told` any
// more, and tells there how it ended and what processor time it took in
// microseconds. `life` is at its end when the process is.
static _Noreturn void keep(pid_t process, int life, int told) {
	struct pollfd either[2] = {{.fd = life, .events = POLLIN}, {.fd = told}};
	while (poll(either, 2, -1) < 0 && errno == EINTR) {}
	if (either[0].revents == 0) kill(process, SIGKILL);
	int status;
	struct rusage spent;
	while (wait4(process, &status, 0, &spent) < 0 && errno == EINTR) {}
	signal(SIGPIPE, SIG_IGN);
	dprintf(told, "%d %lld\n", status,
		(spent.ru_utime.tv_sec + spent.ru_stime.tv_sec) * 1000000LL + spent.ru_utime.tv_usec + spent.ru_stime.tv_usec);
	_exit(0);
}

__attribute__((constructor)) static void serve_forks(void) {
	int kind;
	socklen_t size = sizeof kind;
	if (getenv("NODESPAN_FORK_SERVER") == NULL || getsockopt(LINE, SOL_SOCKET, SO_TYPE, &kind, &size) != 0 || kind != SOCK_SEQPACKET) return;
	// What is forked here can never get more rights than this has.
	if (prctl(PR_SET_NO_NEW_PRIVS, 1, 0, 0, 0) != 0) _exit(1);
	struct sigaction wake = {.sa_handler = woken};
	sigaction(SIGCHLD, &wake, NULL);
	pid_t server = getpid();
	int files[FILES];
	while (receive(files)) {
		pid_t keeper = fork();
		if (keeper == 0) {
			die_with(server);
			signal(SIGCHLD, SIG_DFL);
			close(LINE);
			int life[2];
			keeper = getpid();
			pid_t process = pipe(life) == 0 ? fork() : -1;
			if (process == 0) {
				die_with(keeper);
				for (int i = 0; i < 3; i++)
					if (dup2(files[i], i) < 0) _exit(1);
				for (int i = 0; i < FILES; i++) close(files[i]);
				close(life[0]);
				return; // and becomes the Go program; life[1] stays open as long as it lives
			}
			if (process < 0) _exit(1);
			for (int i = 0; i < 3; i++) close(files[i]);
			close(life[1]);
			keep(process, life[0], files[3]);
		}
		for (int i = 0; i < FILES; i++) close(files[i]);
	}
	while (waitpid(-1, NULL, 0) > 0 || errno == EINTR) {} // what it forked, until that ends or isn't listened to
	_exit(0);
}
