package web

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"strings"
	"testing"
	"time"
)

// TestSlowSendersTakeNoRoom opens more connections than requests may be under way, each of
// which sends its body letter by letter, and wants an honest request to be served meanwhile.
func TestSlowSendersTakeNoRoom(t *testing.T) {
	heard := func(w http.ResponseWriter, r *http.Request) {
		body, err := io.ReadAll(http.MaxBytesReader(w, r.Body, 64<<10))
		_, _ = fmt.Fprint(w, len(body), " ", err)
	}
	routes := Routes{
		Message: heard, Log: slog.New(slog.DiscardHandler),
		Health: &Health{Look: func(context.Context) (State, error) { return State{}, nil }, Now: func() time.Time { return someTime }},
	}.Handler()
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	server := Server(routes)
	go func() { _ = server.Serve(listener) }() // it ends when it is closed
	defer func() { _ = server.Close() }()
	for range atOnce + 20 {
		c, err := net.Dial("tcp", listener.Addr().String())
		if err != nil {
			t.Fatal(err)
		}
		defer func() { _ = c.Close() }()
		if _, err := io.WriteString(c, "POST /twilio/message HTTP/1.1\r\nHost: x\r\nContent-Length: 100\r\n\r\nB"); err != nil {
			t.Fatal(err)
		}
	}
	client := &http.Client{Timeout: 5 * time.Second}
	for _, row := range []struct {
		why, body, want string
	}{
		{"an honest text", "Body=bees", "9 <nil>"},
		{"a long one", strings.Repeat("b", 300<<10), fmt.Sprint(64<<10, " http: request body too large")},
	} {
		answer, err := client.Post("http://"+listener.Addr().String()+"/twilio/message", "text/plain", strings.NewReader(row.body))
		if err != nil {
			t.Fatalf("%s: %v", row.why, err)
		}
		got, _ := io.ReadAll(answer.Body)
		_ = answer.Body.Close()
		if answer.StatusCode != http.StatusOK || string(got) != row.want {
			t.Errorf("%s: answered %d %q, want %q", row.why, answer.StatusCode, got, row.want)
		}
	}
}
