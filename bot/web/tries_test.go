package web

import (
	"net/http"
	"net/http/httptest"
	"testing"
	"time"
)

// TestAGuesserLocksNobodyOut holds that one host that tries passwords without end neither
// gets more than its share nor keeps the steward out; and that many hosts together are slow.
func TestAGuesserLocksNobodyOut(t *testing.T) {
	var tries tries
	now, got := someTime, 0
	for n := range 6000 { // ten a second for ten minutes
		if tries.allow("203.0.113.5", now) {
			got++
		}
		if n%600 == 599 && !tries.allow("198.51.100.7", now) {
			t.Errorf("after %v the steward is locked out by a guesser", now.Sub(someTime))
		}
		now = now.Add(100 * time.Millisecond)
	}
	if got < 30 || got > 36 {
		t.Errorf("one host had %d tries in ten minutes, want 5 and one in 20 s", got)
	}
	got = 0
	for n := range 6000 {
		if tries.allow(string(rune('a'+n%26))+string(rune('a'+n/26%26)), now) {
			got++
		}
		now = now.Add(100 * time.Millisecond)
	}
	if got > 6*36 {
		t.Errorf("all hosts together had %d tries in ten minutes", got)
	}
}

func TestHost(t *testing.T) {
	for _, row := range []struct {
		why, peer string
		forwarded []string
		want      string
	}{
		{"straight", "203.0.113.5:4711", nil, "203.0.113.5"},
		{"straight, with a header of its own making", "203.0.113.5:4711", []string{"198.51.100.7"}, "203.0.113.5"},
		{"through a proxy on this machine", "127.0.0.1:4711", []string{"203.0.113.5"}, "203.0.113.5"},
		{"which adds to what was claimed", "127.0.0.1:4711", []string{"198.51.100.7, 203.0.113.5"}, "203.0.113.5"},
		{"in a line of its own", "[::1]:4711", []string{"198.51.100.7", "203.0.113.5"}, "203.0.113.5"},
		{"which adds nothing", "127.0.0.1:4711", nil, "127.0.0.1"},
		{"which adds nonsense", "127.0.0.1:4711", []string{"nobody"}, "127.0.0.1"},
	} {
		r := httptest.NewRequest(http.MethodPost, "/desk/login", nil)
		r.RemoteAddr = row.peer
		for _, f := range row.forwarded {
			r.Header.Add("X-Forwarded-For", f)
		}
		if got := host(r); got != row.want {
			t.Errorf("%s: from %s, want %s", row.why, got, row.want)
		}
	}
}
