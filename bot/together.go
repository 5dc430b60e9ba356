package bot

import (
	"cmp"
	"encoding/json"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"skepline/intake"
	"skepline/notify"
)

// One swarm on a busy street is reported by many. A report that is most likely about a swarm
// which catchers have been asked for already joins that call: it keeps its caller, asks
// nobody, and ends with the other one.

// sameFrom is the weight from which on two reports are taken for one swarm.
const sameFrom = 2.5

// sameSwarm weighs whether two reports tell of one swarm: by where (how far apart, and how
// sure each place is), when, and what was seen. All weights are judgement: a wrong yes costs
// the second caller a word ("OTHER"), a wrong no costs a few catchers an ask.
func sameSwarm(a, b intake.Answers, aAt, bAt time.Time, s intake.Setting) float64 {
	w := samePlace(a.Place, b.Place, s)
	if math.IsInf(w, -1) {
		return w
	}
	both := func(x, y string) bool {
		return x != "" && y != "" && x != "unsure" && y != "unsure" && x != "other" && y != "other"
	}
	flying := a.Shape == "flying_cloud" || b.Shape == "flying_cloud" // it was landing, or taking off
	switch {
	case !both(a.Shape, b.Shape) || flying:
	case a.Shape == b.Shape:
		w += 0.5
	default:
		w -= 2
	}
	switch {
	case !both(a.Surface, b.Surface):
	case a.Surface == b.Surface:
		w++
	case slices.Contains([]string{"branch", "shrub"}, a.Surface) && slices.Contains([]string{"branch", "shrub"}, b.Surface):
		w += 0.5
	default:
		w -= 1.5
	}
	if a.HeightM != nil && b.HeightM != nil {
		w += step(math.Abs(*a.HeightM-*b.HeightM), 1.2, 3, 0.5, -1)
	}
	if a.AgeH != nil && b.AgeH != nil {
		seen := func(at time.Time, h float64) time.Time { return at.Add(-time.Duration(h * float64(time.Hour))) }
		w += step(seen(aAt, *a.AgeH).Sub(seen(bAt, *b.AgeH)).Abs().Hours(), 3, 24, 0.5, -0.5)
	}
	return w + step(aAt.Sub(bAt).Abs().Hours(), 2, 12, 0.5, -0.5)
}

// sameWithin is how far apart, in metres, two places of one swarm may be besides what they
// are unsure by.
const sameWithin = 400

// step is high up to near, low from far on, and nothing between.
func step(x, near, far, high, low float64) float64 {
	switch {
	case x <= near:
		return high
	case x > far:
		return low
	}
	return 0
}

// samePlace weighs two places, minus infinity when they cannot be one.
func samePlace(a, b *intake.Place, s intake.Setting) float64 {
	never := math.Inf(-1)
	if a == nil || b == nil {
		return never
	}
	sameWords := a.Text != "" && intake.PlainPlace(a.Text) == intake.PlainPlace(b.Text)
	if s.Unlocated(a) || s.Unlocated(b) {
		if sameWords {
			return 2
		}
		return never
	}
	metres, sure := intake.Km(*a, *b)*1000, a.PrecisionM+b.PrecisionM
	if sure <= 150 {
		switch {
		case metres <= 75:
			return 2
		case metres <= 200:
			return 1
		case metres <= 400:
			return 0
		}
		return never
	}
	if metres > sure+150 {
		return never
	}
	w := 0.5
	if sure > 1500 {
		w = -1 // somewhere in one town
	}
	m, n := houseNumber(a.Text), houseNumber(b.Text)
	switch {
	case sameWords && m > 0:
		w += 2
	case m == 0 || n == 0 || intake.PlainPlace(notify.AreaWords(a.Text)) != intake.PlainPlace(notify.AreaWords(b.Text)):
	default:
		w += step(math.Abs(float64(m-n)), 10, 30, 2, -2)
	}
	return w
}

var firstNumber = regexp.MustCompile(`^\D{0,20}?(\d{1,5})\b`)

// houseNumber is the number in "14 Mill Ln", 0 when there is none.
func houseNumber(text string) int {
	m := firstNumber.FindStringSubmatch(text)
	if m == nil {
		return 0
	}
	n, _ := strconv.Atoi(m[1]) // five digits
	return n
}

// sharable are the stages in which a call can take in another report.
var sharable = []Stage{Looking, Taken, There, Boxed}

// sameAs returns the call that c's report most likely belongs to, nil when there is none.
func (d *decision) sameAs(c *Call) *Call {
	place := c.Answers.Place
	if place == nil || c.By != "" {
		return nil
	}
	calls := d.around(*place).Board.Calls
	const recent, most = 36 * time.Hour, 6
	type neighbour struct {
		id string
		km float64
	}
	var near []neighbour
	for id, card := range calls { // sorted below
		if id == c.ID || !slices.Contains(sharable, Stage(card.Stage)) || d.Now.Sub(card.Opened) > recent || slices.Contains(c.Apart, id) {
			continue
		}
		km := intake.Km(*place, intake.Place{Lat: card.Lat, Lon: card.Lon})
		if card.PrecisionM > 0 && km*1000 <= place.PrecisionM+card.PrecisionM+sameWithin {
			near = append(near, neighbour{id, km})
		}
	}
	slices.SortFunc(near, func(a, b neighbour) int { return cmp.Or(cmp.Compare(a.km, b.km), cmp.Compare(a.id, b.id)) })
	near = near[:min(len(near), most)]
	ids := make([]string, len(near))
	for i, n := range near {
		ids[i] = n.id
	}
	d.wantCalls(ids)
	var best *Call
	heaviest := sameFrom
	s := d.Settings.reading()
	for _, id := range ids {
		m := d.call(id)
		if m.ID == "" || m.Joined != "" || !slices.Contains(sharable, m.Stage) || slices.Contains(m.Apart, c.ID) || m.Caller.Person == c.Caller.Person {
			continue
		}
		if w := sameSwarm(c.Answers, m.Answers, c.Opened, m.Opened, s); w >= heaviest && (best == nil || w > heaviest) {
			best, heaviest = m, w
		}
	}
	return best
}

// joinTo makes c's report part of m's call. Its caller hears that the swarm is in hand.
func (d *decision) joinTo(p *Person, c, m *Call) {
	d.lapseOffers(c, "offer_withdrawn")
	d.clear(c)
	c.Joined, c.Thin, c.Waits, c.Held = m.ID, false, false, ""
	m.Also = append(without(m.Also, c.ID), c.ID)
	d.note(c, "joined "+m.Reference)
	d.note(m, "joined_by "+c.Reference)
	if c.Stage == Asking {
		d.move(c, Looking)
	}
	p.Talk.Waiting, p.Talk.Spots = "", nil
	d.set(c, "together", d.Now.Add(togetherFor))
	c.Promised = m.Promised
	d.wordOf(c, m, "joined")
	v := d.about(c, Party{})
	v["With"] = m.Reference
	d.tellStewards("steward_joined", v, "")
}

// togetherFor is how often a joined call is looked at by itself, should the other one have
// ended without a word.
const togetherFor = 12 * time.Hour

// wordOf tells c's caller how m stands: stem is joined (for the first time) or also.
func (d *decision) wordOf(c, m *Call, stem string) {
	v := d.about(m, c.Caller)
	key := stem + "_looking"
	switch {
	case m.Stage == Boxed || m.Stage == Lifted:
		key = stem + "_boxed"
	case m.Holder != nil && !m.Holder.ETA.IsZero() && m.Stage == Taken:
		key = stem + "_eta"
	case m.Holder != nil:
		key = stem + "_taken"
	}
	msg := d.tell(c.Caller, notify.News, key, v)
	if stem == "joined" && c.Caller.Address.Channel() == notify.Telegram {
		msg.Buttons = [][]notify.Button{{{Label: d.say(c.Caller, "button_other_bees", nil), Says: "OTHER"}}}
	}
}

// otherBees is the word of a joined caller that theirs is another swarm.
func (d *decision) otherBees(p *Person, e Said) bool {
	c := d.openCall(p)
	if c == nil || c.Joined == "" || !slices.Contains(otherWords, intake.PlainPlace(e.Text)) {
		return false
	}
	d.split(c)
	return true
}

var otherWords = []string{"other", "others", "other bees", "other swarm", "different", "different bees", "different swarm", "not the same",
	"otra", "otras", "otro", "otras abejas", "otro enjambre", "no es el mismo", "no son las mismas", "son otras"}

// split takes c's report out of the call it had joined. From here on it is a swarm of its
// own, and never joins that call again by itself.
func (d *decision) split(c *Call) {
	m := d.call(c.Joined)
	m.Also = without(m.Also, c.ID)
	c.Joined = ""
	c.Apart = append(c.Apart, m.ID)
	d.note(c, "split")
	d.clear(c, "together")
	d.firstRound(d.personByID(c.Caller.Person), c)
}

// together tells joined callers what changed about the call that they joined. It runs at
// the end of every decision, whatever changed it.
func (d *decision) together() {
	for i := 0; i < len(d.calls); i++ { // grows on the way
		m, old := d.calls[i].work, d.calls[i].doc
		if len(m.Also) == 0 || old.Version == 0 {
			continue
		}
		var before Call
		if err := json.Unmarshal(old.Body, &before); err != nil {
			panic("document call cannot be read: " + err.Error())
		}
		d.tellAlso(&before, m)
	}
}

func (d *decision) tellAlso(before, m *Call) {
	ended := before.Ended.IsZero() && !m.Ended.IsZero()
	key := alsoKey(before, m)
	if !ended && key == "" {
		return
	}
	d.wantCalls(m.Also)
	var heirs []*Call
	for _, id := range slices.Clone(m.Also) {
		c := d.call(id)
		if c.ID == "" || c.Joined != m.ID || !c.Ended.IsZero() {
			continue
		}
		if key != "" {
			c.Promised = m.Promised
			d.tell(c.Caller, notify.News, key, d.alsoValues(c, m))
		}
		switch {
		case !ended:
		case d.overForAll(m):
			d.endWith(c, m.Stage)
		default:
			heirs = append(heirs, c)
		}
	}
	d.inherit(m, heirs)
}

func (d *decision) alsoValues(c, m *Call) values {
	v := d.about(m, c.Caller)
	v["Help"] = d.Settings.Refer(d.purpose(m))
	if m.Stage == PassedOn {
		v["Help"] = d.Settings.Refer("wasps")
	}
	return v
}

// alsoKey is the text that tells a joined caller what became of the call, "" for none.
func alsoKey(before, m *Call) string {
	eta := func(c *Call) time.Time {
		if c.Holder == nil {
			return time.Time{}
		}
		return c.Holder.ETA
	}
	moved := m.Stage != before.Stage
	switch {
	case moved && m.Stage == Taken && eta(m).IsZero():
		return "also_taken"
	case m.Stage == Taken && !eta(m).Equal(eta(before)):
		return "also_eta"
	case moved && m.Stage == Looking && before.Holder != nil:
		return "also_off"
	case moved && m.Stage == Boxed:
		return "also_boxed"
	case moved && m.Stage == Lifted && m.Ended.IsZero():
		return "lifted_caller"
	case moved && m.Stage == Flown:
		return "also_flown"
	case moved && m.Stage == PassedOn && m.Holder != nil:
		return "not_bees_caller"
	case m.Stage != Looking || moved:
		return ""
	case m.Referred && !before.Referred:
		return "referral"
	case m.Thin && !before.Thin:
		return "nobody_yet"
	case m.Promised.After(before.Promised):
		return "still_looking"
	}
	return ""
}

// overForAll reports whether the end of m is the end of the swarm, and not only of what its
// caller had to say.
func (d *decision) overForAll(m *Call) bool {
	switch m.Stage {
	case Hived, Lifted, Flown:
		return true
	case PassedOn:
		return m.Holder != nil
	case LeftAlone:
		return slices.ContainsFunc(m.Story, func(l Line) bool { return l.What == "steward_closed" }) || lapses(d.Event)
	}
	return false
}

func lapses(e Event) bool {
	f, ok := e.(Fired)
	return ok && strings.HasSuffix(f.Timer.ID, "/lapse")
}

// endWith ends a joined call as the other one ended.
func (d *decision) endWith(c *Call, last Stage) {
	if last == LeftAlone {
		d.tell(c.Caller, notify.News, "closed_caller", values{"Help": d.Settings.Refer(d.purpose(c))})
	}
	c.Stage = last // also one that it could not have reached by itself
	d.note(c, string(last))
	d.end(c, last)
}

// inherit lets those who had joined a call go on without it: the first of them has a call
// of its own again, the others join that.
func (d *decision) inherit(m *Call, heirs []*Call) {
	if len(heirs) == 0 {
		return
	}
	first := heirs[0]
	first.Joined, m.Also = "", nil
	d.clear(first, "together")
	d.note(first, "went_on_alone")
	for _, c := range heirs[1:] {
		c.Joined = first.ID
		first.Also = append(first.Also, c.ID)
	}
	first.Apart = append(first.Apart, m.ID)
	d.firstRound(d.personByID(first.Caller.Person), first)
}

// aloneAfterAll is the timer of a joined call: normally the other one is still open.
func (d *decision) aloneAfterAll(c *Call) {
	m := d.call(c.Joined)
	if m.ID != "" && m.Ended.IsZero() {
		d.set(c, "together", d.Now.Add(togetherFor))
		return
	}
	c.Joined = ""
	d.note(c, "went_on_alone")
	d.firstRound(d.personByID(c.Caller.Person), c)
}

// alsoGone is a joined caller's word that the swarm left. The first caller may stand nearer:
// they, or who is on the way, hear of it.
func (d *decision) alsoGone(c *Call) {
	m := d.call(c.Joined)
	if h := m.Holder; h != nil {
		d.tell(h.Party, notify.Claim, "also_says_gone", d.about(m, h.Party))
	} else {
		d.tell(m.Caller, notify.News, "is_it_gone", d.about(m, m.Caller))
	}
	d.tell(c.Caller, notify.News, "gone_passed_on", nil)
	d.end(c, Flown)
}

// ties carries out a steward's SPLIT and JOIN.
func (d *decision) ties(p *Person, t intake.Ties) {
	say := func(key string, v values) { d.tell(p.party(), notify.News, key, v) }
	a := d.byReference(t.One)
	if a == nil || !a.Ended.IsZero() {
		say("steward_which", nil)
		return
	}
	if !t.Join {
		d.stewardSplits(a, say)
		return
	}
	b := d.byReference(t.Other)
	switch {
	case a.Holder != nil && a.Joined == "":
		say("steward_has_holder", d.about(a, p.party()))
	case !mayJoin(a, b):
		say("steward_cannot_join", values{"Ref": t.One, "With": t.Other})
	default:
		d.stewardJoins(a, b)
		say("steward_joins", values{"Ref": a.Reference, "With": b.Reference})
	}
}

// mayJoin reports whether a steward can make a part of b.
func mayJoin(a, b *Call) bool {
	return b != nil && b.ID != "" && b.ID != a.ID && b.Ended.IsZero() && b.Joined == "" && a.Joined == "" &&
		a.Holder == nil && slices.Contains(sharable, b.Stage)
}

// stewardJoins makes a part of b, along with whatever had joined a.
func (d *decision) stewardJoins(a, b *Call) {
	d.wantCalls(a.Also)
	for _, id := range a.Also {
		if c := d.call(id); c.Joined == a.ID {
			c.Joined = b.ID
			b.Also = append(b.Also, id)
		}
	}
	a.Also = nil
	d.joinTo(d.personByID(a.Caller.Person), a, b)
}

// stewardSplits takes a joined call out again, or all that joined this one.
func (d *decision) stewardSplits(a *Call, say func(string, values)) {
	joined := []*Call{a}
	if a.Joined == "" {
		joined = nil
		d.wantCalls(a.Also)
		for _, id := range a.Also {
			if c := d.call(id); c.Joined == a.ID && c.Ended.IsZero() {
				joined = append(joined, c)
			}
		}
	}
	if len(joined) == 0 {
		say("steward_not_joined", values{"Ref": a.Reference})
		return
	}
	for _, c := range joined {
		d.split(c)
		say("steward_split", values{"Ref": c.Reference})
	}
}
