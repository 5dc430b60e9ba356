package main

import (
	"math/rand/v2"
	"net"
	"sync"
	"testing"
	"time"
)

// wire is a TCP line between two programs that can be broken in many ways.
type wire struct {
	listener net.Listener
	mu       sync.Mutex
	changed  chan struct{} // closed whenever how changes
	how      fault
	ends     map[net.Conn]bool
}

// fault is what a wire does to what passes. The zero fault lets everything pass.
type fault struct {
	to     string        // the far end
	frozen bool          // nothing passes, nothing is closed: a blackhole
	cut    bool          // connections are closed at once
	deaf   bool          // requests pass; at the first byte of a reply the connection is closed
	delay  time.Duration // of every piece, each way
	resets float64       // share of pieces at which the connection is closed
}

func newWire(t testing.TB, to string) *wire {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	w := &wire{listener: l, how: fault{to: to}, changed: make(chan struct{}), ends: map[net.Conn]bool{}}
	t.Cleanup(func() {
		_ = l.Close()
		w.set(func(f *fault) { *f = fault{cut: true} }) // also lets go of what is frozen
		w.drop()
	})
	go func() {
		for {
			near, err := l.Accept()
			if err != nil {
				return
			}
			go w.carry(near)
		}
	}()
	return w
}

func (w *wire) port() string {
	_, port, _ := net.SplitHostPort(w.listener.Addr().String())
	return port
}

// set changes what the wire does. To keep its far end, take it from now.
func (w *wire) set(change func(*fault)) {
	w.mu.Lock()
	defer w.mu.Unlock()
	change(&w.how)
	close(w.changed)
	w.changed = make(chan struct{})
}

func (w *wire) now() (fault, <-chan struct{}) {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.how, w.changed
}

// drop closes every connection that is open.
func (w *wire) drop() {
	w.mu.Lock()
	defer w.mu.Unlock()
	for c := range w.ends {
		_ = c.Close()
	}
	w.ends = map[net.Conn]bool{}
}

func (w *wire) carry(near net.Conn) {
	how, _ := w.now()
	far, err := net.DialTimeout("tcp", how.to, time.Second)
	if err != nil || how.cut {
		_ = near.Close()
		if err == nil {
			_ = far.Close()
		}
		return
	}
	w.mu.Lock()
	w.ends[near], w.ends[far] = true, true
	w.mu.Unlock()
	var both sync.WaitGroup
	both.Go(func() { w.pass(far, near, false) })
	both.Go(func() { w.pass(near, far, true) })
	both.Wait()
	w.mu.Lock()
	delete(w.ends, near)
	delete(w.ends, far)
	w.mu.Unlock()
}

// pass carries pieces from one end to the other until one of them closes.
func (w *wire) pass(to, from net.Conn, reply bool) {
	defer to.Close()
	defer from.Close()
	piece := make([]byte, 64<<10)
	for {
		n, err := from.Read(piece)
		if err != nil {
			return
		}
		how, changed := w.now()
		for how.frozen {
			<-changed
			how, changed = w.now()
		}
		if how.cut || how.deaf && reply || how.resets > 0 && rand.Float64() < how.resets {
			return
		}
		if how.delay > 0 {
			time.Sleep(how.delay)
		}
		if _, err := to.Write(piece[:n]); err != nil {
			return
		}
	}
}
