package bot

import (
	"crypto/hmac"
	"crypto/sha256"
	"encoding/base32"
	"time"

	"skepline/intake"
	"skepline/notify"
)

// Person is everyone who ever wrote to us, one document an address. One person may be
// caller, catcher and steward at once.
type Person struct {
	Schema   int            `json:"schema"`
	ID       string         `json:"id"`
	Address  notify.Address `json:"address"`
	Language string         `json:"language"`         // "en", "es"
	Chosen   bool           `json:"chosen,omitempty"` // they asked for that language
	Name     string         `json:"name,omitempty"`   // first name, from their profile
	Call     string         `json:"call,omitempty"`   // the open call they report
	Catcher  string         `json:"catcher,omitempty"`
	Stopped  bool           `json:"stopped,omitempty"` // opted out
	Talk     Talk           `json:"talk,omitzero"`
	Last     LastCall       `json:"last,omitzero"`
	Calls    []string       `json:"calls,omitempty"`  // ended calls that still hold something personal
	Erasing  time.Time      `json:"erasing,omitzero"` // when they asked to be erased, until they confirm
	Erase    bool           `json:"erase,omitempty"`  // erase everything as soon as their call ends
	Idle     Tally          `json:"idle,omitzero"`    // answers to texts that moved nothing
	Abuse    Abuse          `json:"abuse,omitzero"`
	Forget   CallTimer      `json:"forget,omitzero"` // when they are forgotten, if nothing binds them to us
}

// Talk is where a person stands in the conversation about their open call.
type Talk struct {
	Waiting intake.Question   `json:"waiting,omitempty"` // the question we wait on
	Asked   []intake.Question `json:"asked,omitempty"`   // every question put so far, in order
	Misses  int               `json:"misses,omitempty"`  // unreadable answers to Waiting
	Nudged  bool              `json:"nudged,omitempty"`  // reminded once after silence
	Passed  int               `json:"passed,omitempty"`  // must-asks that were passed over to tell something else
	Unsaid  bool              `json:"unsaid,omitempty"`  // something was read from free words and not said back yet
	Noted   intake.Answers    `json:"noted,omitzero"`    // what was said back so far
	Choice  *Choice           `json:"choice,omitempty"`  // a numbered list they were sent
	Found   string            `json:"found,omitempty"`   // the call of which they are asked what it was
	Spots   []intake.Spot     `json:"spots,omitempty"`   // places that their words can mean, until they choose
	Outside int               `json:"outside,omitempty"` // places given that we do not go to
	Nearer  bool              `json:"nearer,omitempty"`  // asked for more than a town
	Pending string            `json:"pending,omitempty"` // a text that waits for "the same bees or new ones?"
	// What came along with the text that waits.
	PendingPhotos []string `json:"pending_photos,omitempty"`
	PendingPin    *Point   `json:"pending_pin,omitempty"`
}

// Choice is a numbered list of calls that one command could mean.
type Choice struct {
	Text  string   `json:"text"`  // the command as texted, without a reference
	Calls []string `json:"calls"` // call ids in the order listed
}

// LastCall is the call a person reported before.
type LastCall struct {
	ID    string    `json:"id,omitempty"`
	Ended time.Time `json:"ended,omitzero"`
	Place string    `json:"place,omitempty"` // area words
}

// Tally counts answers that moved nothing, so that a flood is answered a few times and then
// no more.
type Tally struct {
	Since time.Time `json:"since,omitzero"` // start of the day counted
	Day   int       `json:"day,omitempty"`
	Times []int64   `json:"times,omitempty"` // Unix seconds, last ten minutes
}

// PersonID derives a person's id from their address. It cannot be turned back without the
// secret, so that keys and lines of the store hold no phone number.
func PersonID(secret []byte, a notify.Address) string {
	return derive(secret, "person", string(a), 15)
}

// idAlphabet is RFC 4648 base32 in lower case.
var idAlphabet = base32.StdEncoding.WithPadding(base32.NoPadding)

// derive makes an id of n letters from a secret, a purpose and a seed, always the same.
func derive(secret []byte, purpose, seed string, n int) string {
	mac := hmac.New(sha256.New, secret)
	mac.Write([]byte(purpose + "\x00" + seed))
	return lower(idAlphabet.EncodeToString(mac.Sum(nil)))[:n]
}

// may reports whether allow would say yes, and counts nothing.
func (t Tally) may(now time.Time, l Limits) bool { return t.allow(now, l) }

// allow counts one idle answer at now and reports whether it may be given.
func (t *Tally) allow(now time.Time, l Limits) bool {
	if now.Sub(t.Since) >= 24*time.Hour {
		*t = Tally{Since: now}
	}
	recent := t.Times[:0:0]
	for _, at := range t.Times {
		if now.Unix()-at < 600 {
			recent = append(recent, at)
		}
	}
	t.Times = recent
	if len(recent) >= l.TextsIn10Minutes || t.Day >= l.TextsADay {
		return false
	}
	t.Times = append(recent, now.Unix())
	t.Day++
	return true
}
