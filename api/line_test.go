package api

import (
	"io"
	"net"
	"strings"
	"sync"
	"testing"
)

// A line is the way between a phone and the service, on which a test has the
// signal come and go. It carries bytes and knows nothing of HTTP.
type line struct {
	listener net.Listener
	to       string

	mu   sync.Mutex
	cut  bool // nothing gets through
	mute bool // what is asked arrives, what is answered doesn't
	// after, when more than 0, cuts the line once so many bytes went up.
	after int
	conns map[net.Conn]bool
}

// newLine puts a line before the rig's service; from then on the rig's address
// is the line's.
func newLine(t testing.TB, r *rig) *line {
	t.Helper()
	ln, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	l := &line{listener: ln, to: strings.TrimPrefix(r.http.URL, "http://"), conns: map[net.Conn]bool{}}
	r.http.URL = "http://" + ln.Addr().String()
	go l.serve()
	t.Cleanup(func() {
		ln.Close()
		l.set(true, false, 0)
	})
	return l
}

func (l *line) serve() {
	for {
		c, err := l.listener.Accept()
		if err != nil {
			return
		}
		l.mu.Lock()
		refuse := l.cut
		l.conns[c] = true
		l.mu.Unlock()
		if refuse {
			l.end(c)
			continue
		}
		go l.carry(c)
	}
}

func (l *line) end(c net.Conn) {
	l.mu.Lock()
	delete(l.conns, c)
	l.mu.Unlock()
	c.Close()
}

func (l *line) carry(phone net.Conn) {
	defer l.end(phone)
	service, err := net.Dial("tcp", l.to)
	if err != nil {
		return
	}
	defer service.Close()
	go func() {
		defer l.end(phone)
		buf := make([]byte, 16<<10)
		for {
			n, err := service.Read(buf)
			l.mu.Lock()
			mute := l.mute
			l.mu.Unlock()
			if n > 0 && mute {
				// Whatever was asked is done by now; nobody hears of it.
				l.set(true, false, 0)
				return
			}
			if _, werr := phone.Write(buf[:n]); err != nil || werr != nil {
				return
			}
		}
	}()
	buf := make([]byte, 16<<10)
	for {
		n, err := phone.Read(buf)
		if n > 0 && !l.lets(n) {
			l.set(true, false, 0)
			return
		}
		if _, werr := service.Write(buf[:n]); err != nil || werr != nil {
			if err == io.EOF {
				return
			}
			return
		}
	}
}

// lets counts what goes up, and tells whether it may.
func (l *line) lets(n int) bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.cut {
		return false
	}
	if l.after > 0 {
		if l.after -= n; l.after <= 0 {
			return false
		}
	}
	return true
}

// set has the line be as given from now on; a cut one ends what is on its way.
func (l *line) set(cut, mute bool, after int) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.cut, l.mute, l.after = cut, mute, after
	if cut {
		for c := range l.conns {
			c.Close()
		}
	}
}

// up is whether the line is whole.
func (l *line) up() bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	return !l.cut
}

// online tells the page what a phone tells it when its signal comes back.
func (b *tab) online() {
	b.t.Helper()
	valueOf[bool](b, `window.dispatchEvent(new Event('online'))`)
}

// signalBack mends the way to the service, and the page hears of it.
func (b *tab) signalBack(way *line) {
	b.t.Helper()
	way.set(false, false, 0)
	b.online()
}

// sendsAll mends the way, and the person has all sent that waits.
func (b *tab) sendsAll(way *line) {
	b.t.Helper()
	way.set(false, false, 0)
	b.visit("/waiting")
	b.click("#now")
	b.noneWaits()
}
