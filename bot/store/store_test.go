package store

import (
	"testing"
	"time"

	"skepline/notify"
)

// TestStore tells every story twice: on the embedded Redis and on a real one.
func TestStore(t *testing.T) {
	servers := []struct {
		name  string
		start func(testing.TB) *server
	}{
		{"embedded", embeddedServer},
		{"real", realServer},
	}
	for _, s := range servers {
		t.Run(s.name, func(t *testing.T) {
			server := s.start(t)
			for _, c := range cases {
				t.Run(c.name, func(t *testing.T) { c.run(newWorld(t, server, c.opts)) })
			}
		})
	}
}

// quick lets every message go at once, for cases that are not about the sender's rate.
var quick = Options{Pace: map[notify.Channel]time.Duration{notify.SMS: 0, notify.WhatsApp: 0, notify.Telegram: 0}}

var cases = []struct {
	name string
	opts Options
	run  func(*world)
}{
	{"a document comes back as it was committed", quick, documentsRoundTrip},
	{"a document written empty is gone, and only at its version", quick, documentsErased},
	{"load brings the person and the open call in one go", quick, loadFollowsPointer},
	{"a moved document conflicts and nothing is written", quick, conflictWritesNothing},
	{"a key of the wrong type refuses the whole commit", quick, wrongTypeWritesNothing},
	{"what is broken stands in nobody else's way", quick, poison},
	{"a repeated event gets its first outcome though the versions moved", quick, repeatedEvent},
	{"an event is remembered for four days at least", quick, seenRing},
	{"a line keeps its order and has one message in flight", quick, lineOrder},
	{"a line that changes channels moves to the other lane", quick, lineChangesChannel},
	{"safety overtakes a message in flight and the sender's rate", Options{}, safetyOvertakes},
	{"the sender's rate counts segments", Options{}, paceCountsSegments},
	{"a fast sender has several segments in a millisecond", Options{Pace: map[notify.Channel]time.Duration{notify.SMS: 250 * time.Microsecond}}, fastSender},
	{"a paused channel holds up nobody else", quick, pauseHoldsOneChannel},
	{"a dead channel is shut, and tried out", quick, circuitShuts},
	{"a process that dies trying a channel out", quick, circuitForgetsProbe},
	{"what was under way shuts nothing for longer", quick, oldNewsShutsNothing},
	{"a channel that does not work for long is gone around", quick, detours},
	{"a chat gets a message a second", quick, chatPace},
	{"a lease that runs out comes back as left open", quick, leftOpen},
	{"an ambiguous end comes back as left open when asked", quick, ambiguous},
	{"a stale fence changes nothing but the provider id", quick, staleFence},
	{"a delivery report proves that a left-open message went out", quick, reportSettles},
	{"a retry keeps its time though another message comes", quick, retryKeepsItsTime},
	{"what falls out of step is put right", quick, repairs},
	{"an opt-out after the enqueue is honoured at the lease", quick, optOut},
	{"the fuse keeps a reserve for safety", Options{Pace: quick.Pace, Fuse: Fuse{SegmentsADay: 3, Reserve: 1}}, fuse},
	{"what was not sent gives its money and its turn back", Options{Fuse: Fuse{SegmentsADay: 100}}, giveBack},
	{"an edit knows the provider's id of what it edits", quick, edits},
	{"a change that an older version filed among what is said", quick, changeOfAnOlderVersion},
	{"what is said goes before what changes something said before", quick, changesGoLast},
	{"delivery reports merge by rank", quick, reports},
	{"a copy of the board follows its changes", quick, townKeepsUp},
	{"around a place nobody is left out who may go there", quick, aroundMissesNobody},
	{"timers go off, move and clear", quick, timers},
	{"a timer is cleared by its own event", quick, timerClearsItself},
	{"an errand is leased, comes back, and ends with its answer", quick, errands},
	{"the imported places are read again when they moved", quick, places},
	{"the roster is read again when it moved", quick, roster},
	{"the board shows what was committed", quick, board},
	{"look-ups, marks and ended calls", quick, lookUps},
	{"a named lease has one owner", quick, holds},
	{"what is kept of people cannot be read in Redis", quick, sealsWords},
	{"a new secret reads what the older one sealed", quick, sealsRotate},
	{"a sweep forgets what is old", quick, sweep},
	{"thirty calls, eight takers each, two replicas: one winner each", quick, thirtyCalls},
}
