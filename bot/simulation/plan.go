package simulation

import (
	"cmp"
	"fmt"
	"math/rand/v2"
	"slices"
	"time"

	"skepline/notify"
)

// Plan is everything that happens from outside, as data: the same plan gives the same run.
type Plan struct {
	Seed     uint64          `json:"seed,omitempty"` // that drew it; 0 = made by hand or shrunk
	Start    time.Time       `json:"start"`
	Replicas int             `json:"replicas"`
	Ahead    []time.Duration `json:"ahead,omitempty"` // by how much each replica's clock is ahead of the store's
	Heals    time.Duration   `json:"heals,omitempty"` // from then on nothing breaks; 0 = faults to the end
	Lasts    time.Duration   `json:"lasts"`
	Fuse     int             `json:"fuse"` // segments a day, -1 = no limit
	Steps    []Step          `json:"steps"`
	Faults   []Fault         `json:"faults"`
}

// ahead is how far a replica's clock is ahead.
func (p Plan) ahead(n int) time.Duration {
	if n < len(p.Ahead) {
		return p.Ahead[n]
	}
	return 0
}

// Step is one thing that somebody does, or that befalls a machine.
type Step struct {
	At   time.Duration `json:"at"`
	Who  string        `json:"who,omitempty"` // a person of the town
	Do   string        `json:"do"`            // says taps takes pin photo blocks opens / restart pause outage channel loss
	Text string        `json:"text,omitempty"`
	N    int           `json:"n,omitempty"` // which button, which replica
	For  time.Duration `json:"for,omitempty"`
}

// Fault is something that breaks at the nth passing of a point, counted from 1.
type Fault struct {
	Point string `json:"point"`
	Nth   int    `json:"nth"`
	Kind  string `json:"kind"`
}

// kinds are the faults that each point may meet.
var kinds = map[string][]string{
	"load":      {"error", "crash", "meanwhile"},
	"documents": {"error", "crash"},
	"commit":    {"error", "reply_lost", "reply_lost_twice", "conflict", "crash", "crash_after", "meanwhile", "meanwhile"},
	"due":       {"error", "crash"},
	"lease":     {"error", "reply_lost", "crash_after"},
	"finish":    {"error", "reply_lost", "crash", "crash_after"},
	"send":      {"reply_lost", "429", "5xx", "5xx_taken", "timeout", "unreachable", "refused", "blocked", "stall", "stall_after", "crash", "crash_after"},
	"resolve":   {"unread"},
	"report":    {"lost", "twice", "failed", "late"},
	"webhook":   {"lost", "twice", "meanwhile", "late"},
	"decide":    {"panic", "panic_twice"},
}

// points are the names of kinds, in order, but for "decide", which has a draw of its own.
var points = []string{"commit", "documents", "due", "finish", "lease", "load", "report", "resolve", "send", "webhook"}

// someone is a person of the town.
type someone struct {
	name    string
	address notify.Address
	house   string // a caller's, in no other text
	catcher bool
	also    notify.Address
	far     bool // from everything
}

// town are the people of every plan.
var town = []someone{
	{name: "Gwen", address: "sms:+16075550142", house: "14 Mill Ln"},
	{name: "Hugo", address: "sms:+16075550143", house: "27 Quarry Rd"},
	{name: "Ines", address: "whatsapp:+16075550144", also: "sms:+16075550144", house: "31 Ferry St"},
	{name: "Lupe", address: "telegram:5550145", house: "5 Hollow Way"},
	{name: "Ada", address: "telegram:5550101", catcher: true},
	{name: "Bram", address: "telegram:5550102", catcher: true},
	{name: "Chidi", address: "sms:+16075550123", catcher: true, also: "telegram:5550164"},
	{name: "Dora", address: "sms:+16075550124", catcher: true},
	{name: "Edda", address: "telegram:5550105", catcher: true, far: true},
	{name: "Steward", address: "telegram:5550199"},
}

// steward is the address of the hotline's steward.
const steward notify.Address = "telegram:5550199"

var (
	openings = []string{"hanging cluster of bees on my fence, nobody stung, %s, I can reach it",
		"there is a ball of bees on a branch 8 feet up. nobody was stung", "bees!! big clump on the tree at %s", "grey paper nest under the roof at %s",
		"bees going in and out of a hole in the wall, %s", "hay un enjambre en mi casa, %s"}
	callerWords = []string{"1", "2", "3", "4", "%s", "%s", "nobody was stung", "8 ft", "not sure", "thanks", "ok", "yes", "no", "GONE",
		"side gate, big dog", "my throat is swelling and i cant breathe", "STOP", "START", "BACK", "AGAIN", "MENU", "qwerty", "1", "2", "Gwen",
		"i got stung and my face is swelling, cant breathe", "STOP"}
	catcherWords = []string{"PASS", "TAKE 60", "ETA 30", "30", "THERE", "BOXED", "LIFTED", "HIVED", "DROP", "OUT 3h", "IN", "MINE", "OPEN", "STOP", "START", "FLOWN",
		"NOT BEES", "on my way, which gate?", "ETA 15", "THERE", "BOXED", "LIFTED", "HIVED"}
	stewardWords = []string{"OPEN", "MENU", "ok"}
)

// Generate draws a plan. Odd seeds heal half way, so that what must come in the end can be
// asked for; even ones break things to the end.
func Generate(seed uint64) Plan {
	// One stream a purpose: another draw of faults leaves the people as they are.
	people, faults := rand.New(rand.NewPCG(seed, 1)), rand.New(rand.NewPCG(seed, 2))
	p := Plan{
		Seed:     seed,
		Start:    time.Date(2026, time.May, 2+people.IntN(40), people.IntN(24), people.IntN(60), 0, 0, time.UTC),
		Replicas: 1 + people.IntN(3), Lasts: 12 * time.Hour, Fuse: -1,
	}
	if people.IntN(8) == 0 {
		p.Fuse = 10 + people.IntN(30)
	}
	calm := people.IntN(10) == 0
	if seed%2 == 1 {
		p.Heals, p.Lasts = 6*time.Hour, 54*time.Hour
	}
	for _, s := range town {
		switch {
		case s.catcher:
			p.Steps = append(p.Steps, aCatcher(people, s)...)
		case s.address == steward:
			p.Steps = append(p.Steps, Step{At: hours(people, 6), Who: s.name, Do: "says", Text: stewardWords[people.IntN(len(stewardWords))]})
		case people.IntN(2) == 0:
			p.Steps = append(p.Steps, aCaller(people, s)...)
		}
	}
	if !calm {
		p.Faults, p.Steps = drawFaults(faults), append(p.Steps, drawTroubles(faults, p.Replicas)...)
	}
	if !calm && seed%3 == 0 {
		p.Faults = append(p.Faults, drawPanics(rand.New(rand.NewPCG(seed, 4)))...)
	}
	losses := rand.New(rand.NewPCG(seed, 3))
	if losses.IntN(2) == 0 {
		p.Steps = append(p.Steps, drawLosses(losses, p.Steps)...)
		if losses.IntN(3) > 0 {
			p.Faults = nil
		}
	}
	for range p.Replicas {
		p.Ahead = append(p.Ahead, []time.Duration{0, 0, -1500 * time.Millisecond, 1500 * time.Millisecond, -5 * time.Second, 5 * time.Second}[losses.IntN(6)])
	}
	slices.SortStableFunc(p.Steps, func(a, b Step) int { return cmp.Compare(a.At, b.At) })
	return p
}

// hours draws a time within the first h hours, in whole seconds.
func hours(r *rand.Rand, h int) time.Duration { return time.Duration(r.IntN(h*3600)) * time.Second }

func aCaller(r *rand.Rand, s someone) []Step {
	at := hours(r, 2)
	say := func(words string) Step {
		if slices.Contains([]byte(words), '%') {
			words = fmt.Sprintf(words, s.house)
		}
		return Step{At: at, Who: s.name, Do: "says", Text: words}
	}
	steps := []Step{say(openings[r.IntN(len(openings))])}
	for range 2 + r.IntN(8) {
		at += time.Duration(5+r.IntN(240)) * time.Second
		if r.IntN(20) == 0 {
			at += hours(r, 3)
		}
		switch r.IntN(12) {
		case 0:
			steps = append(steps, Step{At: at, Who: s.name, Do: "pin"})
		case 1:
			steps = append(steps, Step{At: at, Who: s.name, Do: "photo"})
		case 2, 3:
			steps = append(steps, Step{At: at, Who: s.name, Do: "taps", N: r.IntN(6)})
		default:
			steps = append(steps, say(callerWords[r.IntN(len(callerWords))]))
		}
	}
	return steps
}

func aCatcher(r *rand.Rand, s someone) []Step {
	var steps []Step
	at := time.Duration(0)
	for range 2 + r.IntN(8) {
		at += time.Duration(30+r.IntN(2400)) * time.Second
		switch r.IntN(6) {
		case 0:
			steps = append(steps, Step{At: at, Who: s.name, Do: "taps", N: r.IntN(6)})
		case 1, 2, 3:
			steps = append(steps, Step{At: at, Who: s.name, Do: "takes"})
		default:
			steps = append(steps, Step{At: at, Who: s.name, Do: "says", Text: catcherWords[r.IntN(len(catcherWords))]})
		}
	}
	if r.IntN(15) == 0 {
		steps = append(steps, Step{At: at + time.Minute, Who: s.name, Do: "blocks"}, Step{At: at + time.Hour, Who: s.name, Do: "opens"})
	}
	return steps
}

// drawFaults breaks a few passings of every point: most runs a handful, some a storm.
func drawFaults(r *rand.Rand) []Fault {
	every := []int{150, 60, 25, 8}[r.IntN(4)] // one in so many
	reach := map[string]int{"commit": 250, "load": 250, "documents": 300, "due": 300, "lease": 500, "finish": 200, "send": 200, "resolve": 20, "report": 80, "webhook": 80}
	var all []Fault
	for _, point := range points {
		for nth := 1; nth <= reach[point]; nth++ {
			if point == "commit" && r.IntN(12) == 0 {
				all = append(all, Fault{point, nth, "meanwhile"})
			} else if r.IntN(every) == 0 {
				all = append(all, Fault{point, nth, kinds[point][r.IntN(len(kinds[point]))]})
			}
		}
	}
	return all
}

// drawPanics lets decisions break: once, so that the second try succeeds, or for good.
func drawPanics(r *rand.Rand) []Fault {
	var all []Fault
	for range 1 + r.IntN(6) {
		all = append(all, Fault{"decide", 1 + r.IntN(200), kinds["decide"][r.IntN(2)]})
	}
	return all
}

// drawLosses lets the store forget some takes, and the moments before or after them: half a
// minute for a copy that lagged, two seconds for a machine without power.
func drawLosses(r *rand.Rand, steps []Step) []Step {
	var losses []Step
	for _, s := range steps {
		if s.Do == "takes" && r.IntN(2) == 0 {
			lasts := time.Duration(2+28*r.IntN(2)) * time.Second
			losses = append(losses, Step{At: max(0, s.At-time.Duration(r.Int64N(int64(lasts)))), Do: "loss", N: r.IntN(2), For: lasts})
		}
	}
	return losses
}

func drawTroubles(r *rand.Rand, replicas int) []Step {
	var steps []Step
	for range r.IntN(4) {
		at := hours(r, 5)
		switch r.IntN(4) {
		case 0:
			steps = append(steps, Step{At: at, Do: "restart", N: r.IntN(replicas)})
		case 1:
			steps = append(steps, Step{At: at, Do: "pause", N: r.IntN(replicas), For: time.Duration(5+r.IntN(300)) * time.Second})
		case 2:
			steps = append(steps, Step{At: at, Do: "outage", For: time.Duration(1+r.IntN(600)) * time.Second})
		case 3:
			channel := notify.Channels[r.IntN(len(notify.Channels))]
			steps = append(steps, Step{At: at, Do: "channel", Text: string(channel), For: time.Duration(10+r.IntN(1800)) * time.Second})
		}
	}
	return steps
}
