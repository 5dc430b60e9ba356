package notify

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"skepline/intake"
)

// Job is one call as its catcher needs it.
type Job struct {
	Reference    string // "7KQ2"
	Answers      intake.Answers
	Shown        int       // the likelihood in percent, capped at 95 by whoever fills it; 0 = not shown
	Sunset, Dusk time.Time // of the day, in the hotline's zone; zero = there is none
	StillThere   float64   // probability that the swarm still hangs there when a catcher comes; 0 = not known
	CallerName   string    // first name, "" when not told
	CheckWord    string    // what the catcher says at the door: "PLUM"
	MapLink      string
	Against      string // in words, what speaks against a swarm: "seen for three weeks"; "" = nothing
	Link         string // of the page that shows more; "" = none
	Late         bool   // too late to begin before dark
	Expected     bool   // when they come is known, so nobody asks
	OnAJob       bool   // this catcher is on another job: they can take it after that
	Again        bool   // it was taken and came free again
	InBox        bool   // the bees are boxed already: only the box is to be fetched
	Several      bool   // this catcher has other open offers, so an answer must name the call
}

// Brief is everything a catcher is told about a job, as ready texts in the order in which
// they are to be read. By SMS each is at most two segments. What a job does not need is "".
// None of it is for anybody but the holder: Yours holds the address.
type Brief struct {
	Yours   string // where, who, the hazards, when
	Gates   string // go, or leave it
	Kit     string // what to bring
	Method  string // hazards again, then how, and whether the queen is in
	Evening string // when to fetch the box, the night, the morning
}

// Heights, in metres, at which the way of working changes. Judgement, after what ladder
// rules have in common; above highM nobody is talked into anything.
const (
	overheadM = 2.0 // out of reach from the ground: a stool, or a ladder
	ladderToM = 4.6 // up to here a footed ladder, above it a pole and bucket from the ground
	highM     = 6.0 // 20 ft: leave it

	clearOfWireM = 3.0 // 10 ft, from person and longest tool to any wire
)

// SMS segments that one text of a brief may take.
const briefSegments = 2

// MakeBrief writes the brief of job j for catcher c. It computes the kit from the call and
// c's skills. Hazards come before method in every text.
//
// Where it comes from: kit and method are common practice without a source. Wires: 10 ft for
// person and longest tool up to 50 kV to ground, 29 CFR 1910.333(c)(3)(i)(A), as quoted by
// others. Ladders: foot out a quarter of the working length, 29 CFR 1926.1053(b)(5)(i);
// three points of contact, OSHA's letter of 5 June 2019 on 29 CFR 1910.23(b)(12). These bind
// employers; here they are good practice. Leaving the box until dusk: a local association's
// protocol, as quoted by others. Air and shade for closed bees: weakly sourced. Nests in
// structures are for removers: University of Minnesota Bee Lab, "Wasp and bee removal".
func MakeBrief(w intake.Words, j Job, c Catcher, metric bool, clock24 bool) Brief {
	b := briefing{w: w, j: j, c: c, metric: metric, clock24: clock24}
	return Brief{Yours: b.yours(), Gates: b.gates(), Kit: b.kit(), Method: b.method(), Evening: b.evening()}
}

type briefing struct {
	w               intake.Words
	j               Job
	c               Catcher
	metric, clock24 bool
}

func (b briefing) say(key string) string { return b.w.Say(key, b.data()) }

func (b briefing) data() map[string]any {
	small, big := "5 gal", "10 gal"
	if b.metric {
		small, big = "20 L", "40 L"
	}
	box := big
	if crowd := b.j.Answers.Crowd; crowd == "hundreds" || crowd == "tens" || crowd == "under_10" {
		box = small
	}
	return map[string]any{
		"Reference": b.j.Reference, "Name": quoted(b.w, b.j.CallerName, 20), "Word": b.j.CheckWord,
		"Link": b.j.MapLink, "Access": quoted(b.w, b.j.Answers.Access, 60), "Box": box,
		"Dry":   b.j.Answers.Has("power_line"), // no water near a wire
		"Clear": HeightWords(b.w, clearOfWireM, b.metric), "Limit": HeightWords(b.w, highM, b.metric),
	}
}

// text joins facts into one text that fits.
func (b briefing) text(facts []fact) string {
	between := " "
	if b.w.Chat {
		between = "\n"
	}
	return shorten(b.w, facts, briefSegments, func(f []fact) string { return joined(f, between) })
}

// yours tells the holder where, who and when. The address is cut rather than left out.
func (b briefing) yours() string {
	caller := "brief_yours_caller"
	if b.j.CallerName == "" {
		caller = "brief_yours_someone"
	}
	facts := []fact{{text: b.say("brief_yours")}, {text: b.place()}}
	if what := b.what(); what != "" {
		facts = append(facts, fact{text: b.w.Say("brief_what", map[string]any{"What": what}), rank: 8}) // by SMS the offer still says it
	}
	if b.j.CheckWord != "" {
		facts = append(facts, fact{text: b.say(caller)})
	}
	facts = append(facts, b.hazards()...)
	if access := b.j.Answers.Access; access != "" && access != intake.NothingSpecial {
		facts = append(facts, fact{text: b.say("brief_yours_access"), rank: 2})
	}
	facts = append(facts, b.today()...)
	facts = append(facts, fact{text: b.say("brief_yours_relay"), rank: 4})
	if b.j.MapLink != "" {
		facts = append(facts, fact{text: b.say("brief_yours_map"), rank: 5})
	}
	if !b.j.Expected {
		facts = append(facts, fact{text: b.say("brief_yours_when")})
	}
	facts = append(facts, fact{text: b.say("brief_yours_not_you")})
	return b.text(facts)
}

// what is where they sit and how high, in a few words.
func (b briefing) what() string {
	var parts []string
	if surface := b.j.Answers.Surface; surface != "" && surface != "unsure" && surface != "other" {
		parts = append(parts, b.w.Say("word_surface_"+surface, nil))
	}
	const atTheGround = 0.3
	if h := b.j.Answers.HeightM; h != nil && *h > atTheGround {
		parts = append(parts, b.w.Say("brief_offer_up", map[string]any{"Height": HeightWords(b.w, *h, b.metric)}))
	}
	return strings.Join(parts, ", ")
}

// workFor is how long before sunset one should be there: to take them and to see that the
// queen is in (judgement).
const workFor = time.Hour

// today is what is likely there, whether the owner agrees, and the clock of the day. By SMS
// only what changes a decision.
func (b briefing) today() []fact {
	var facts []fact
	say := func(rank int, key string, data map[string]any) {
		if text := b.w.Say(key, data); text != "" {
			facts = append(facts, fact{text: text, rank: rank})
		}
	}
	a := b.j.Answers
	switch a.Owner {
	case "yes":
		say(7, "brief_owner_yes", nil)
	case "no":
		say(2, "brief_owner_no", nil)
	default:
		if b.w.Chat { // by SMS the gates say it
			say(6, "brief_owner_unknown", nil)
		}
	}
	if b.w.Chat {
		b.seen(say)
	}
	if b.j.Sunset.IsZero() || b.way() == "structure" {
		return facts // a nest is there tomorrow, too
	}
	clock := map[string]any{
		"By": ClockWords(b.j.Sunset.Add(-workFor), b.clock24), "Sunset": ClockWords(b.j.Sunset, b.clock24), "Dusk": ClockWords(b.j.Dusk, b.clock24),
		"Percent": min(int(b.j.StillThere*100+0.5), 95),
	}
	switch {
	case b.j.Late:
		say(3, "brief_today_late", clock)
	case b.w.Chat && !b.j.Dusk.IsZero():
		say(3, "brief_today_dusk", clock)
	default:
		say(6, "brief_today", clock)
	}
	if b.w.Chat && b.j.StillThere > 0 {
		say(3, "brief_still", clock)
	}
	return facts
}

// seen says in chat how likely they are honey bees, what speaks against it, and how many to
// expect. Villa (Ann. Entomol. Soc. Am. 97:111-116, 2004, abstract) weighed swarms of 0.17 to
// 4.30 kg, 1.42 kg on average; a caller's words are no better than that range.
func (b briefing) seen(say func(rank int, key string, data map[string]any)) {
	if b.j.Shown > 0 {
		say(3, "brief_likely", map[string]any{"Percent": b.j.Shown})
	}
	if b.j.Against != "" {
		say(3, "brief_offer_against", map[string]any{"Against": b.j.Against})
	}
	size, key := "0.4-9.5 lb", "brief_size"
	if b.metric {
		size = "0.2-4.3 kg"
	}
	switch crowd := b.j.Answers.Crowd; {
	case b.way() == "structure":
		return
	case crowd == "thousands":
	case crowd == "hundreds":
		key = "brief_size_small"
	default:
		return
	}
	say(3, key, map[string]any{"Size": size})
}

func (b briefing) place() string {
	p := b.j.Answers.Place
	switch {
	case p != nil && p.Text != "":
		return b.w.Say("brief_yours_place", map[string]any{"Place": quoted(b.w, p.Text, 100)})
	case p != nil && p.PrecisionM < intake.InWordsOnly:
		return b.w.Say("brief_yours_place", map[string]any{"Place": fmt.Sprintf("%.5f,%.5f", p.Lat, p.Lon)})
	}
	return b.say("brief_yours_no_place")
}

// hazardRanks orders the hazards from the one that kills to the one that annoys; the first
// two are never left out.
var hazardRanks = []struct {
	hazard string
	rank   int
}{{"power_line", 0}, {"roof", 0}, {"road", 1}, {"indoors", 1}, {"blocked_door", 1}, {"water", 1}, {"children", 3}, {"crowd", 3}}

func (b briefing) hazards() []fact {
	var facts []fact
	for _, h := range hazardRanks {
		if b.j.Answers.Has(h.hazard) {
			facts = append(facts, fact{text: b.say("brief_hazard_" + h.hazard), rank: h.rank})
		}
	}
	if b.j.Answers.Allergic == "yes" {
		facts = append(facts, fact{text: b.say("brief_hazard_allergic"), rank: 1})
	}
	return facts
}

// gates is the list of what must hold before anything is touched.
func (b briefing) gates() string {
	facts := b.hazards()
	if b.reach() == "high" {
		return b.text(append(facts, fact{text: b.say("brief_gates_high")}))
	}
	for _, gate := range []struct {
		key  string
		rank int
	}{
		{"brief_gates", 0}, {"brief_gate_wire", 0}, {"brief_gate_reach_" + b.reach(), 0}, {"brief_gate_owner", 0},
		{"brief_gate_alone", 0}, {"brief_gate_well", 4}, {"brief_gate_else", 0},
	} {
		facts = append(facts, fact{text: b.say(gate.key), rank: gate.rank})
	}
	return b.text(facts)
}

// reach says how the bees may be reached: from the ground, a stool, a ladder, with a pole, or
// not at all ("high"). A power line or a roof takes away everything but the ground, and a
// ladder that is too short is none.
func (b briefing) reach() string {
	h := b.j.Answers.HeightM
	switch {
	case h == nil:
		return "unknown"
	case *h > highM:
		return "high"
	case *h <= overheadM || b.j.Answers.Has("power_line") || b.j.Answers.Has("roof"):
		return "ground"
	case *h > ladderToM:
		return "pole"
	case slices.Contains(b.c.Skills, Ladder) && b.hasLadderFor(h):
		return "ladder"
	case *h <= LadderFromM:
		return "stool"
	}
	return "pole"
}

// way names the method for what the bees sit on.
func (b briefing) way() string {
	a := b.j.Answers
	switch {
	case a.Shape == "flying_cloud":
		return "air"
	case a.Surface == "cavity" || a.Shape == "gap_traffic" || a.Shape == "wax_comb":
		return "structure"
	}
	switch a.Surface {
	case "branch", "shrub":
		return "branch"
	case "fence", "wall", "post", "vehicle", "bare_wood":
		return "flat"
	case "ground", "eave":
		return a.Surface
	}
	return "any"
}

// method is how, and whether the queen is in. Bees that hang too high have none: the gates
// say all there is to say.
func (b briefing) method() string {
	if b.reach() == "high" {
		return ""
	}
	facts := append(b.hazards(), fact{text: b.say("brief_method_" + b.way())})
	if way := b.way(); way != "air" && way != "structure" {
		facts = append(facts, fact{text: b.say("brief_queen")})
	}
	return b.text(facts)
}

// The box is fetched from this long after sunset, when the last scouts are home, until
// civil dusk or at least this long after (common practice; the minutes are judgement).
const (
	fetchFrom  = 20 * time.Minute
	fetchUntil = 30 * time.Minute
)

func (b briefing) evening() string {
	if b.reach() == "high" || b.way() == "structure" {
		return "" // no box is left there
	}
	key, data := "brief_evening_light", map[string]any{}
	if !b.j.Sunset.IsZero() {
		from, to := FetchTimes(b.j.Sunset, b.j.Dusk)
		key, data = "brief_evening", map[string]any{
			"Sunset": ClockWords(b.j.Sunset, b.clock24),
			"From":   ClockWords(from, b.clock24), "To": ClockWords(to, b.clock24),
		}
	}
	return b.text([]fact{{text: b.w.Say(key, data)}, {text: b.say("brief_night")}, {text: b.say("brief_morning")}})
}

// FetchTimes returns between which times a box is best fetched on an evening with this
// sunset and civil dusk (zero = none), on full five minutes.
func FetchTimes(sunset, dusk time.Time) (from, to time.Time) {
	from, to = sunset.Add(fetchFrom), sunset.Add(fetchUntil)
	if dusk.After(to) {
		to = dusk
	}
	const five = 5 * time.Minute
	return from.Add(five - time.Nanosecond).Truncate(five), to.Add(five - time.Nanosecond).Truncate(five)
}

// ClockWords returns the time that t's clock shows: "8:14", or "20:14" with clock24.
func ClockWords(t time.Time, clock24 bool) string {
	if clock24 {
		return t.Format("15:04")
	}
	return t.Format("3:04")
}
