package store

import (
	"fmt"
	"regexp"
	"strings"

	"skepline/bot"
	"skepline/notify"
)

// keys builds every key of one hotline. All begin with the same "{tag}:", so that they
// share one slot of a Redis Cluster.
//
//	d:<kind>:<id>  string  "<version> <pointer or -> <json>"; a pointer is "<kind>:<id>"
//	meta           hash    schema, deployment, and the counters seq, fence and roster
//	seen:0 … 2     hashes  event id -> "<payload> <outcome>"; a ring of four days each
//	board          hash    "c:<call>" and "k:<catcher>" -> card
//	board:log      list    fields of board in the order in which they changed, the last few thousand; "board" in meta
//	                       counts those cut off before
//	roster         hash    catcher id -> catcher; "roster" in meta counts its versions
//	find           hash    "ref:…", "tok:…" -> subject
//	stop           set     persons who opted out
//	timer          hash    timer id -> "<n> <json>"
//	due:timers     zset    timer id, by ms when it goes off
//	errand         hash    errand id -> json
//	due:errands    zset    errand id, by ms when its turn is; a leased one stands at its lease's end
//	places         string  the imported gazetteer; "places" in meta counts its versions
//	item           hash    message id -> "<lane> <class> <segments> <edits or -> <json>"
//	line           zset    "<line>|<seq 13 digits>|<message id>", all scores 0: one queue a line
//	due:<lane>     zset    line, by ms when its turn is
//	held           hash    line -> "<fence> <since> <until> <segments>": the message in flight
//	tries          hash    message id -> attempts begun
//	sent           hash    message id -> "<status or -> <provider id> <json without text>"
//	sent:at        zset    message id, by ms when it was sent
//	pace           hash    channel -> ms before which its ordinary lane waits; "pause:<channel>" for both lanes;
//	                       its circuit: "troubles:", "shut:", "down:" and "probe:<channel>", see finish.lua
//	chat           hash    person -> ms when the last message to their chat would have gone, at one a second
//	spend          hash    day number -> segments sent by the metered channels
//	closed         zset    ended calls, by ms
//	hold           hash    name -> "<until> <owner>": named leases
//	mark           hash    name -> note of progress
type keys struct{ prefix string }

// lanes lists the lanes of every channel.
var lanes = func() (all []notify.Lane) {
	for _, c := range notify.Channels {
		all = append(all, notify.LanesOf(c)...)
	}
	return all
}()

var goodTag = regexp.MustCompile(`^[A-Za-z0-9_-]{1,40}$`)

func keysOf(tag string) (keys, error) {
	if !goodTag.MatchString(tag) {
		return keys{}, fmt.Errorf("%q cannot tag a hotline's keys; use 1 to 40 letters, digits, - and _", tag)
	}
	return keys{prefix: "{" + tag + "}:"}, nil
}

// of returns the key of a fixed name.
func (k keys) of(name string) string { return k.prefix + name }

// document returns the key of a document. load.lua builds the same for a pointed document.
func (k keys) document(key bot.Key) string { return k.prefix + "d:" + word(key) }

// list returns the keys of fixed names.
func (k keys) list(names ...string) []string {
	all := make([]string, len(names), len(names)+len(lanes))
	for i, name := range names {
		all[i] = k.of(name)
	}
	return all
}

func (k keys) withLanes(list []string) []string {
	for _, lane := range lanes {
		list = append(list, k.of("due:"+string(lane)))
	}
	return list
}

// load returns the KEYS of load.lua for one person.
func (k keys) load(person string) []string {
	return append(k.list("seen:0", "seen:1", "seen:2", "find"), k.document(bot.Key{Kind: bot.KindPerson, ID: person}))
}

// commit returns the fixed KEYS of commit.lua; documents follow.
func (k keys) commit() []string {
	return append(k.withLanes(k.list("seen:0", "seen:1", "seen:2", "meta", "board", "roster", "find", "stop",
		"timer", "due:timers", "item", "line", "closed")), k.list("errand", "due:errands", "board:log")...)
}

// outbox returns the KEYS of lease.lua and finish.lua.
func (k keys) outbox() []string {
	return k.withLanes(k.list("line", "item", "held", "tries", "sent", "sent:at", "pace", "spend", "stop", "meta", "chat"))
}

// word returns a document key as stored in pointers: "<kind>:<id>".
func word(key bot.Key) string { return key.Kind + ":" + key.ID }

func keyOf(word string) (bot.Key, bool) {
	kind, id, ok := strings.Cut(word, ":")
	return bot.Key{Kind: kind, ID: id}, ok && kind != "" && id != ""
}

// sameTag reports whether every key begins with the hotline's tag. The embedded Redis does
// not refuse keys of two slots in one script, so it is asserted here.
func (k keys) sameTag(list []string) error {
	for _, key := range list {
		if !strings.HasPrefix(key, k.prefix) {
			return fmt.Errorf("key %q does not carry the tag %s", key, k.prefix)
		}
	}
	return nil
}
