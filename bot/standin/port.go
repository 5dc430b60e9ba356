package standin

import (
	"errors"
	"net"
	"os"
	"strconv"
	"sync/atomic"
)

// Ports below those that a system gives away by itself (RFC 6335 names 49152 and up, Linux
// uses 32768 and up): nobody gets one between its being found free and its being used.
const (
	firstPort = 12000
	ports     = 20000
)

// lastPort counts the ports that this process has handed out; programs that run side by side
// begin far from each other.
var lastPort atomic.Int64

func init() { lastPort.Store(int64(os.Getpid()) * 131 % ports) }

// Port returns a loopback port for a program that a test starts. It returns each once.
func Port() (string, error) {
	for range 1000 {
		port := strconv.FormatInt(firstPort+lastPort.Add(1)%ports, 10)
		if l, err := net.Listen("tcp", "127.0.0.1:"+port); err == nil {
			return port, l.Close()
		}
	}
	return "", errors.New("a thousand ports in a row are taken")
}
