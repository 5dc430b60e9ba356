package bot

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"time"

	"skepline/notify"
)

// DeskView is the evening at a glance.
type DeskView struct {
	Hotline  string
	Now      string // clock
	Calls    []CallRow
	Catchers []CatcherRow
	Numbers  []Number
	Lat, Lon float64 // the hotline's centre
	Km       float64 // the area served
	Metric   bool
}

// Number is one figure of today, under the key of its label.
type Number struct {
	Label string
	N     int
}

// CallRow is one open call in the list.
type CallRow struct {
	Kept                                     string // who has it, and when, unless somebody is sooner
	ID, Ref, Stage, Held, Area, Kind, Holder string
	Why                                      string // why a person is needed now: "held", "undelivered", "nobody", "late", "overdue"; "" = nobody is
	Because                                  string // why it is held, in words
	Opened                                   string // clock
	Age                                      time.Duration
	Next                                     string // clock of its next step
	Likelihood, Still                        int    // percent
	Asked                                    []AskedRow
	Lat, Lon                                 float64
	Pinned                                   bool
}

// AskedRow is one catcher who was asked.
type AskedRow struct {
	Catcher, Name, State, At, Distance string
	Why                                string // why they passed, in words, when they said so
}

// CatcherRow is one catcher of the roster.
type CatcherRow struct {
	ID, Name, Channel, Hours string
	Lat, Lon, ReachKm        float64
	Reach                    string // in the hotline's units
	State                    string // "free", "asked", "busy", "away", "not_joined"
	Today, Asks              int    // calls taken today; asks of seven days that led to no job
}

// CallView is one call's whole story.
type CallView struct {
	CallRow
	Ended      string
	Caller     string // name and channel, never the number
	Place      string
	MapLink    string
	Facts      []Fact
	Hazards    []string
	Weighed    []Weighed // kinds, most likely first
	Evidence   []Weighed // what spoke for or against, strongest first
	Lines      []StoryLine
	Does       []string
	CanBeAsked []CatcherRow // by distance
	CanJoin    []CallRow    // that it could be a part of, nearest first
	Joined     *CallRow     // that it is a part of
	Also       []CallRow    // that are part of it
	ETA        string
	Photos     int
	Rule       *WhyView // why these catchers; nil while nobody has been looked for
}

// Weighed is something with a figure: a kind with its percent, or evidence with its weight.
type Weighed struct {
	What   string
	Weight float64
}

// StoryLine is one thing that happened or was said.
type StoryLine struct {
	At   string // clock
	Who  string // "caller", "holder", "us", "" = something that happened
	Text string
	when time.Time
}

// ViewDesk returns the evening at a glance: what needs a person first, then by age.
func (h *Hotline) ViewDesk(ctx context.Context) (*DeskView, error) {
	return view(ctx, h, h.looking(), func(d *decision) *DeskView { return d.viewDesk() })
}

// DeskState changes when anything on the desk does, or, with a call's id, on its own page.
func (h *Hotline) DeskState(ctx context.Context, call string) (string, error) {
	if call != "" {
		docs, err := h.Store.Documents(ctx, []Key{{KindCall, call}})
		if err != nil {
			return "", fmt.Errorf("desk: %w", err)
		}
		return itoa(int(docs[0].Version)), nil
	}
	board, err := h.Store.Board(ctx)
	if err != nil {
		return "", fmt.Errorf("desk: %w", err)
	}
	body, err := json.Marshal(board)
	if err != nil {
		return "", fmt.Errorf("desk: %w", err)
	}
	sum := sha256.Sum256(body)
	return hex.EncodeToString(sum[:8]), nil
}

// DeskPhoto returns the provider's name of a call's n-th picture, "" when there is none.
func (h *Hotline) DeskPhoto(ctx context.Context, id string, n int) (string, error) {
	return view(ctx, h, h.looking(), func(d *decision) string {
		if c := d.call(id); n >= 0 && n < len(c.Photos) {
			return c.Photos[n]
		}
		return ""
	})
}

// ViewCall returns one call's story, nil when there is no such call.
func (h *Hotline) ViewCall(ctx context.Context, id string) (*CallView, error) {
	return view(ctx, h, h.looking(), func(d *decision) *CallView { return d.viewCall(id) })
}

// desk is the steward as a reader of pages.
func (d *decision) deskParty() Party { return onPage(Party{Language: d.Settings.DefaultLanguage()}) }

func (d *decision) viewDesk() *DeskView {
	if d.Board == nil {
		panic(Need{Roster: true})
	}
	v := &DeskView{
		Hotline: d.Settings.Name, Now: d.clock(d.deskParty(), d.now),
		Lat: d.Settings.Latitude, Lon: d.Settings.Longitude, Km: d.Settings.RadiusKm, Metric: d.Settings.Metric(),
	}
	const most = 100 // the rest is a longer night than a page can show
	ids := d.openIDs()
	shown := ids[:min(len(ids), most)]
	d.wantCalls(shown)
	for _, id := range shown {
		if c := d.call(id); c.ID != "" && c.Ended.IsZero() {
			v.Calls = append(v.Calls, d.callRow(c))
		}
	}
	slices.SortStableFunc(v.Calls, func(a, b CallRow) int { return urgent(b) - urgent(a) })
	for _, k := range d.Roster {
		v.Catchers = append(v.Catchers, d.catcherRow(k))
	}
	v.Numbers = numbers(v, len(ids))
	return v
}

func urgent(r CallRow) int {
	return slices.Index([]string{"", "overdue", "late", "nobody", "undelivered", "held"}, r.Why)
}

// openIDs returns the open calls, oldest first.
func (d *decision) openIDs() []string {
	ids := make([]string, 0, len(d.Board.Calls))
	for id := range d.Board.Calls {
		ids = append(ids, id)
	}
	slices.SortFunc(ids, func(a, b string) int {
		if c := d.Board.Calls[a].Opened.Compare(d.Board.Calls[b].Opened); c != 0 {
			return c
		}
		return strings.Compare(a, b)
	})
	return ids
}

func numbers(v *DeskView, open int) []Number {
	needs, holders, boxes, today, free := 0, 0, 0, 0, 0
	for _, c := range v.Calls {
		switch {
		case c.Why != "":
			needs++
		case c.Stage == string(Taken) || c.Stage == string(There):
			holders++
		case c.Stage == string(Boxed):
			boxes++
		}
	}
	for _, k := range v.Catchers {
		today += k.Today
		if k.State == "free" {
			free++
		}
	}
	return []Number{{"needs", needs}, {"open", open}, {"on_way", holders}, {"boxes", boxes}, {"taken_today", today}, {"free", free}}
}

func (d *decision) callRow(c *Call) CallRow {
	p := d.deskParty()
	r := CallRow{
		ID: c.ID, Ref: c.Reference, Stage: string(c.Stage), Held: c.Held, Area: area(c), Kind: d.kindName(p, c), Why: d.needsPerson(c), Because: d.reasonWords(p, c.Held),
		Opened: d.clock(p, c.Opened), Age: d.Now.Sub(c.Opened), Likelihood: d.job(c, p).Shown, Still: d.likely(c),
	}
	if r.Area == "" && c.Answers.Place != nil {
		r.Area = c.Answers.Place.Text
	}
	r.Lat, r.Lon = d.point(c)
	r.Pinned = c.Answers.Place != nil && c.Answers.Place.PrecisionM < 3000
	if c.Holder != nil {
		r.Holder = c.Holder.Name
	}
	if o := c.kept(); o != nil {
		r.Kept = o.Name + ", " + d.clock(p, o.Until)
	}
	if next := c.next(); !next.IsZero() && c.Ended.IsZero() {
		r.Next = d.clock(p, next)
	}
	for _, o := range c.Offers {
		r.Asked = append(r.Asked, AskedRow{o.Catcher, o.Name, string(o.State), d.clock(p, o.At), notify.DistanceWords(words(p), o.Far, d.Settings.Metric()), d.passReason(p, c, o.Catcher)})
	}
	return r
}

// needsPerson says why a steward should look at c now, "" when all goes its way.
func (d *decision) needsPerson(c *Call) string {
	switch {
	case !c.Ended.IsZero():
		return ""
	case c.Held != "":
		return "held"
	case unheard(c):
		return "undelivered"
	case c.Stage == Looking && c.Thin:
		return "nobody"
	case c.Holder != nil && c.Stage == Taken && c.Holder.Nudges >= 2:
		return "late"
	case c.next().IsZero() || d.Now.Sub(c.next()) > overdue:
		return "overdue"
	}
	return ""
}

// unheard reports whether the last that the caller was sent did not arrive, and nothing was
// heard of them since.
func unheard(c *Call) bool {
	var lost, heard time.Time
	for _, l := range c.Story {
		switch l.What {
		case "undelivered safety", "undelivered question", "undelivered news":
			lost = l.At
		}
	}
	for _, w := range c.Words {
		if w.Who == "caller" {
			heard = w.At
		}
	}
	return !lost.IsZero() && !heard.After(lost)
}

func (d *decision) catcherRow(k notify.Catcher) CatcherRow {
	card := d.Board.Catchers[k.ID]
	r := CatcherRow{ID: k.ID, Name: k.Name, Channel: string(k.Address.Channel()), Hours: k.Hours, Lat: k.Lat, Lon: k.Lon, ReachKm: k.ReachKm, State: "free", Asks: len(card.Asks)}
	r.Reach = itoa(int(k.ReachKm+0.5)) + " km"
	if !d.Settings.Metric() {
		const kmPerMile = 1.609344
		r.Reach = itoa(int(k.ReachKm/kmPerMile+0.5)) + " mi"
	}
	switch {
	case k.Address == "":
		r.State = "not_joined"
	case card.AwayUntil.After(d.Now):
		r.State = "away"
	case card.Busy:
		r.State = "busy"
	case d.Board.Calls[card.OpenAsk].Stage == string(Looking):
		r.State = "asked"
	}
	for _, t := range card.Today {
		if dayNumber(t.In(d.now.Location())) == dayNumber(d.now) {
			r.Today++
		}
	}
	return r
}
