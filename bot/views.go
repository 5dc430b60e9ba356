package bot

import (
	"context"
	"fmt"
	"math"
	"strings"
	"time"

	"skepline/intake"
	"skepline/notify"
	"skepline/triage"
)

// OfferView is what the offer page shows. Only with State "yours" does it say where.
type OfferView struct {
	Language   string
	State      string // "open", "yours", "kept", "taken", "standby", "passed", "over", "newer"
	Ref, Stage string
	Holder     string // first name of who has it
	Until      string // with State "kept": clock at which it is decided
	Facts      []Fact
	Hazards    []string // in words
	Likelihood int      // percent
	Still      int      // percent that it still hangs there in three quarters of an hour
	Against    string
	Asked      string // clock
	Wider      string // clock of when others are asked, "" = not known
	Others     int    // asked besides
	Sunset     string // clock
	SunsetIn   time.Duration
	Far        notify.Far
	Distance   string // in words
	Photos     []string
	Does       []string // what may be pressed now

	// With State "yours".
	Place, MapLink, Caller, Word, Access, Phone, ETA string
	Gates, Kit, Method, Evening                      string
	Said                                             []Spoken
}

// Fact is one thing known, under the key of its label.
type Fact struct{ Label, Value string }

// CallerView is what the caller's page shows.
type CallerView struct {
	Language                 string
	Ref, Stage, Held         string
	Over                     bool
	Coming                   bool // nobody is there yet, so the place and a photo still help
	Holder, Word, ETA, By    string
	Fallback, Arrives        string // who can come late, while others are asked
	Place                    string
	Lat, Lon, PrecisionM     float64
	Pinned                   bool // the point is better than words
	CenterLat, CenterLon, Km float64
	Sunset, Standoff         string
	Emergency                string
	Precision                string // of the point, in words
	Metric                   bool
	Tiles, Attribution       string  // of a tile map; "" = a plain sketch
	MapLat, MapLon           float64 // where a map begins
	MapWithin                float64 // metres around that; 0 = nothing is known
	Photos                   int     // pictures we have
	MorePhotos               bool    // another one is welcome
	Does                     []string
}

// LinkState says what a link opens: the page and the state of its call, that changes when
// what the page shows does. "" = nothing.
func (h *Hotline) LinkState(ctx context.Context, token string) (string, error) {
	d, o, err := h.openLink(ctx, token)
	if err != nil || o == nil {
		return "", err
	}
	for _, doc := range d.Documents {
		if doc.Key.Kind == KindCall {
			return fmt.Sprint(o.Page, doc.Version), nil
		}
	}
	return "", nil
}

// ViewOffer returns what a catcher's link shows, nil when it shows nothing (any more).
func (h *Hotline) ViewOffer(ctx context.Context, token string) (*OfferView, error) {
	d, o, err := h.openLink(ctx, token)
	if err != nil || o == nil || o.Page != PageOffer {
		return nil, err
	}
	return view(ctx, h, d, func(d *decision) *OfferView { return d.viewOffer(o) })
}

// ViewCaller returns what a caller's link shows, nil when it shows nothing (any more).
func (h *Hotline) ViewCaller(ctx context.Context, token string) (*CallerView, error) {
	d, o, err := h.openLink(ctx, token)
	if err != nil || o == nil || o.Page != PageCaller {
		return nil, err
	}
	return view(ctx, h, d, func(d *decision) *CallerView { return d.viewCaller(o) })
}

// ViewPhoto returns the provider's name of a call's n-th picture for whoever has the link of
// an offer that is open to them or theirs, "" when there is none for them.
func (h *Hotline) ViewPhoto(ctx context.Context, token string, n int) (string, error) {
	d, o, err := h.openLink(ctx, token)
	if err != nil || o == nil || o.Page != PageOffer || o.Newer || n < 0 || n >= len(o.Call.Photos) {
		return "", err
	}
	open := o.Offer.State == notify.AskOpen || o.Offer.State == notify.AskStandby || o.Offer.State == notify.AskFallback
	if !open && !o.Call.heldBy(o.Who) || d == nil {
		return "", nil
	}
	return o.Call.Photos[n], nil
}

// openLink loads what a link points to. Looking changes nothing.
func (h *Hotline) openLink(ctx context.Context, token string) (*decision, *Opened, error) {
	hash := LinkHash(token)
	d := h.looking()
	o, err := view(ctx, h, d, func(d *decision) *Opened { return d.opens(hash) })
	return d, o, err
}

// looking is a decision that decides nothing: it reads documents for a page.
func (h *Hotline) looking() *decision {
	return newDecision(Facts{Settings: h.Settings, Secret: h.Secrets[len(h.Secrets)-1], Now: h.Clock.Now(), Event: Desked{}})
}

// view reads with look, loading what it lacks until it is content.
func view[T any](ctx context.Context, h *Hotline, d *decision, look func(*decision) T) (T, error) {
	const rounds = 8
	var nothing T
	for range rounds {
		seen, need := tryLook(d, look)
		if need.none() {
			return seen, nil
		}
		if err := h.load(ctx, &d.Facts, need); err != nil {
			return nothing, fmt.Errorf("read a page: %w", err)
		}
	}
	return nothing, fmt.Errorf("read a page: still asks for more after %d loads", rounds)
}

func tryLook[T any](d *decision, look func(*decision) T) (seen T, need Need) {
	defer func() {
		switch r := recover().(type) {
		case nil:
		case Need:
			need = r
		default:
			panic(r)
		}
	}()
	return look(d), Need{}
}

// onPage is p as a page's reader: full letters, whatever their channel.
func onPage(p Party) Party {
	p.Address = notify.Address(notify.Telegram) + ":0"
	return p
}

func (d *decision) viewOffer(o *Opened) *OfferView {
	c, p := o.Call, onPage(o.Offer.Party)
	j := d.job(c, p)
	v := &OfferView{
		Language: p.Language, State: offerState(o), Ref: c.Reference, Stage: string(c.Stage), Likelihood: j.Shown,
		Still: min(int(math.Round(j.StillThere*100)), 95), Against: j.Against, Asked: d.clock(p, o.Offer.At),
		Others: max(len(c.Offers)-1, 0), Sunset: d.clock(p, j.Sunset), SunsetIn: j.Sunset.Sub(d.now),
		Far: o.Offer.Far, Distance: notify.DistanceWords(words(p), o.Offer.Far, d.Settings.Metric()),
	}
	if c.Holder != nil {
		v.Holder = c.Holder.Name
	}
	if v.State == "over" || v.State == "newer" {
		v.Likelihood = 0 // nothing of it matters any more
		return v
	}
	if at := c.timer("round").At; v.State == "open" && at.After(d.Now) {
		v.Wider = d.clock(p, at)
	}
	if v.State == "kept" {
		v.Until = d.clock(p, o.Offer.Until)
	}
	v.Facts, v.Hazards, v.Photos = d.facts(c, p), d.hazards(c, p), c.Photos
	v.Does = d.offerDoes(o, v.State)
	if v.State == "yours" {
		d.viewJob(v, c, p, j)
	}
	return v
}

func offerState(o *Opened) string {
	switch c := o.Call; {
	case !c.Ended.IsZero():
		return "over"
	case o.Newer:
		return "newer"
	case c.heldBy(o.Who):
		return "yours"
	case o.Offer.State == notify.AskFallback:
		return "kept"
	case o.Offer.State == notify.AskStandby:
		return "standby"
	case c.Holder != nil:
		return "taken"
	case o.Offer.State == notify.AskPassed || o.Offer.State == notify.AskDropped:
		return "passed"
	case o.Offer.State != notify.AskOpen:
		return "over"
	}
	return "open"
}

// offerDoes lists what may be pressed on the offer page now.
func (d *decision) offerDoes(o *Opened, state string) []string {
	switch state {
	case "open":
		return []string{"take", "later", "pass"}
	case "kept":
		return []string{"take", "drop"}
	case "passed":
		return []string{"take"}
	case "taken", "standby":
		return nil
	}
	var does []string
	for _, act := range []string{"eta", "there", "boxed", "lifted", "hived", "flown", "not_bees", "drop"} {
		stages := wordStages[pageWords[act]]
		if contains(stageNames(stages), string(o.Call.Stage)) && !leaps(act, o.Call.Stage) {
			does = append(does, act)
		}
	}
	return does
}

// leaps leaves out what would skip more than a step: a word may, a big button should not.
func leaps(act string, s Stage) bool {
	return act == "lifted" && s != Boxed || act == "hived" && s != Lifted || act == "boxed" && s != There
}

// facts are what is known of a swarm, without the place.
func (d *decision) facts(c *Call, p Party) []Fact {
	a := c.Answers
	var facts []Fact
	add := func(label, value string) {
		if value != "" {
			facts = append(facts, Fact{label, value})
		}
	}
	word := func(label, value string) {
		if value != "" && value != "unsure" && value != "unknown" && value != "other" {
			add(label, d.say(p, "word_"+label+"_"+value, nil))
		}
	}
	word("shape", a.Shape)
	word("surface", a.Surface)
	if a.HeightM != nil {
		add("height", notify.HeightWords(words(p), *a.HeightM, d.Settings.Metric()))
	}
	word("crowd", a.Crowd)
	add("area", area(c))
	word("stung", a.Stung)
	return facts
}

func (d *decision) hazards(c *Call, p Party) []string {
	var all []string
	for _, h := range intake.HazardValues {
		if c.Answers.Has(h) {
			all = append(all, d.say(p, "word_hazard_"+h, nil))
		}
	}
	return all
}

// viewJob adds what only the holder may read.
func (d *decision) viewJob(v *OfferView, c *Call, p Party, j notify.Job) {
	k := d.catcher(c.Holder.Catcher)
	b := notify.MakeBrief(words(p), j, k.Catcher, d.Settings.Metric(), d.Settings.Metric())
	v.Place, v.MapLink, v.Caller, v.Word = d.exact(p, c), j.MapLink, d.callerName(c, p), c.Holder.Word
	v.Access, v.Gates, v.Kit, v.Method, v.Evening = c.Answers.Access, b.Gates, b.Kit, b.Method, b.Evening
	if c.Stage == Boxed || c.Stage == Lifted { // what is left is the evening
		v.Facts, v.Likelihood, v.Gates, v.Kit, v.Method = nil, 0, "", "", ""
	}
	if !c.Holder.ETA.IsZero() {
		v.ETA = d.clock(p, c.Holder.ETA)
	}
	if c.Holder.Phone == "yes" {
		v.Phone = c.Caller.Address.Number()
	}
	for _, s := range c.Words {
		if s.Who != "us" && !s.At.Before(c.Holder.Taken.Truncate(time.Second)) {
			v.Said = append(v.Said, s)
		}
	}
}

func (d *decision) viewCaller(o *Opened) *CallerView {
	c, p := o.Call, onPage(o.Call.Caller)
	v := &CallerView{
		Language: p.Language, Ref: c.Reference, Stage: string(c.Stage), Held: c.Held, Over: !c.Ended.IsZero(),
		Sunset: d.clock(p, d.sunset(c)), Standoff: d.standoff(c.Caller), Emergency: d.Settings.EmergencyNumber,
		CenterLat: d.Settings.Latitude, CenterLon: d.Settings.Longitude, Km: d.Settings.RadiusKm,
	}
	v.Lat, v.Lon = d.point(c)
	if place := c.Answers.Place; place != nil {
		v.Place, v.PrecisionM = strings.TrimSpace(place.Text), place.PrecisionM
		v.Pinned = place.PrecisionM < intake.InWordsOnly
		v.Precision = d.spanWords(p, place.PrecisionM)
	}
	d.viewMap(v)
	if !c.Promised.IsZero() && c.Promised.After(d.Now) {
		v.By = d.clock(p, c.Promised)
	}
	if o := c.kept(); o != nil {
		v.Fallback, v.Arrives = o.Name, d.clock(p, d.comes(c, o, o.Starts))
	}
	if h := c.Holder; h != nil {
		v.Holder, v.Word = h.Name, h.Word
		if !h.ETA.IsZero() {
			v.ETA = d.clock(p, h.ETA)
		}
	}
	if !v.Over {
		v.Does = []string{"here", "says", "photo", "gone"}
		v.Coming = c.Stage == Asking || c.Stage == Looking || c.Stage == Taken
		v.Photos, v.MorePhotos = len(c.Photos), v.Coming && len(ownPhotos(c)) < mostOwnPhotos
	}
	return v
}

// spanWords writes a length on the ground: "59 ft", "0.2 mi".
func (d *decision) spanWords(p Party, m float64) string {
	const far, mile = 300, 1609.344
	switch {
	case m < far:
		return notify.HeightWords(words(p), math.Max(m, 1), d.Settings.Metric())
	case d.Settings.Metric():
		return fmt.Sprintf("%.1f km", m/1000)
	}
	return fmt.Sprintf("%.1f mi", m/mile)
}

// viewMap says where the caller's map begins: at what we know of the place, else, when there
// is a map to find it on, in the middle of the area.
func (d *decision) viewMap(v *CallerView) {
	v.Metric, v.Tiles, v.Attribution = d.Settings.Metric(), d.Settings.Map.Tiles, d.Settings.Map.Attribution
	switch {
	case v.Place != "" && v.PrecisionM > 0 && v.PrecisionM <= 5000:
		v.MapLat, v.MapLon, v.MapWithin = v.Lat, v.Lon, v.PrecisionM
	case v.Pinned:
		v.MapLat, v.MapLon, v.MapWithin = v.Lat, v.Lon, math.Max(v.PrecisionM, 10)
	case v.Tiles != "":
		v.MapLat, v.MapLon, v.MapWithin = v.CenterLat, v.CenterLon, v.Km*1000
	}
}

// likely says how likely a swarm reported at c still hangs there now, in percent.
func (d *decision) likely(c *Call) int {
	lat, lon := d.point(c)
	return min(int(math.Round(100*triage.Stays(c.Opened.In(d.now.Location()), d.now, lat, lon))), 95)
}
