package bot

import (
	"sync"
	"time"
)

// Seldom says when to tell of something that strangers can cause as often as they like, so
// that they cannot fill the log: at once, and then once in ten seconds. Its zero value is ready
// and may be used by many goroutines.
type Seldom struct {
	mu   sync.Mutex
	last time.Time
	more int
}

const seldom = 10 * time.Second

// Tell counts one and reports whether it is told, with how many before it were not.
func (s *Seldom) Tell(now time.Time) (untold int, tell bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if !s.last.IsZero() && now.Sub(s.last) < seldom && !now.Before(s.last) {
		s.more++
		return 0, false
	}
	untold, s.more, s.last = s.more, 0, now
	return untold, true
}
