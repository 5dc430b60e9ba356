package standin

import (
	"net"
	"testing"
)

// TestPort holds that no port comes twice and none is one that somebody listens on.
func TestPort(t *testing.T) {
	port, err := Port()
	if err != nil {
		t.Fatal(err)
	}
	lastPort.Add(-1) // the same would come again, were it free
	l, err := net.Listen("tcp", "127.0.0.1:"+port)
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	seen := map[string]bool{port: true}
	for range 50 {
		next, err := Port()
		if err != nil || seen[next] {
			t.Fatalf("port %s came again, %v", next, err)
		}
		seen[next] = true
	}
}
