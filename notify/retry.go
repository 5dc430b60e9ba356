package notify

import (
	"hash/fnv"
	"strconv"
	"time"
)

// persistence is how hard a class of message is tried.
type persistence struct {
	first, longest time.Duration // the first wait; waits double from there up to the longest
	tries          int           // attempts at most, unless the provider asked everybody to wait
	doubt          doubt         // what becomes of it when nobody knows whether it arrived
}

// doubt is what to do when nobody knows whether a message arrived.
type doubt int

const (
	sendAgain  doubt = iota // missing it is worse than reading it twice
	markRepeat              // send again, marked as a repeat: a person wrote it and another reads it
	letItBe                 // reading it twice is worse than missing it
)

// persistences are judgement, in minutes of trying: safety about an hour, a claim a quarter
// of an hour (then the state reacts: the call goes to somebody else), an offer four minutes,
// because by then others have been asked. Whatever NotAfter says comes first.
var persistences = map[Class]persistence{
	Safety:   {time.Second, time.Minute, 60, sendAgain},
	Claim:    {5 * time.Second, 3 * time.Minute, 10, sendAgain},
	Taken:    {5 * time.Second, 3 * time.Minute, 8, sendAgain},
	Offer:    {5 * time.Second, time.Minute, 7, sendAgain},
	Question: {5 * time.Second, 3 * time.Minute, 8, sendAgain},
	Relay:    {5 * time.Second, 3 * time.Minute, 8, markRepeat},
	News:     {5 * time.Second, 3 * time.Minute, 6, letItBe},
	Reminder: {30 * time.Second, 5 * time.Minute, 3, letItBe},
	Goodbye:  {30 * time.Second, 5 * time.Minute, 3, letItBe},
}

func persistenceOf(c Class) persistence {
	if p, ok := persistences[c]; ok {
		return p
	}
	return persistences[News]
}

// Backoff returns how long to wait after attempt (1 for the first) of a message of class c,
// never less than the provider asked for with after, and whether to give up instead.
func Backoff(c Class, attempt int, after time.Duration) (wait time.Duration, giveUp bool) {
	p := persistenceOf(c)
	if attempt >= p.tries {
		return 0, true
	}
	wait = p.first
	for range attempt - 1 {
		wait = min(2*wait, p.longest)
	}
	return max(wait, after), false
}

// spread adds up to a quarter to wait, so that messages that failed together do not come
// back together. It depends on nothing but the message and the attempt.
func spread(wait time.Duration, id string, attempt int) time.Duration {
	h := fnv.New32a()
	h.Write([]byte(id + "#" + strconv.Itoa(attempt)))
	return wait + wait/4*time.Duration(h.Sum32()%1024)/1024
}
