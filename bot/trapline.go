package bot

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"skepline/intake"
	"skepline/notify"
	"skepline/triage"
)

// BaitBox is one box of a catcher's trap line.
type BaitBox struct {
	N           int       `json:"n"`
	Place       string    `json:"place"`
	VolumeL     float64   `json:"volume_l,omitempty"`
	HeightM     float64   `json:"height_m,omitempty"`
	EntranceCm2 float64   `json:"entrance_cm2,omitempty"`
	Set         time.Time `json:"set"`
	Lured       time.Time `json:"lured,omitzero"`
	Checked     time.Time `json:"checked,omitzero"`
	Catches     int       `json:"catches,omitempty"`
}

// byTrapLine marks a call that nobody made: a catch of a bait box.
const byTrapLine = "trap_line"

func (b BaitBox) ref() string { return fmt.Sprintf("BX%02d", b.N) }

const (
	mostBoxes  = 30
	checkEvery = 7                   // days, in the season (judgement)
	lureLasts  = 21 * 24 * time.Hour // then a few drops more (judgement)
)

// box carries out BOX and what follows it: nothing lists the line, a number names a box,
// anything else is a new one.
func (d *decision) box(p *Person, rest string) {
	k := d.catcher(p.Catcher)
	first, what, _ := strings.Cut(strings.TrimSpace(rest), " ")
	n, isNumber := number(first)
	i := slices.IndexFunc(k.Boxes, func(b BaitBox) bool { return b.N == n })
	switch spec, ok := intake.ReadBaitBox(rest); {
	case rest == "":
		d.listBoxes(p, k)
	case isNumber && i >= 0 && strings.TrimSpace(what) != "":
		d.boxWord(p, k, i, lower(strings.TrimSpace(what)))
	case ok && !isNumber && len(k.Boxes) < mostBoxes:
		d.addBox(p, k, spec)
	default:
		d.idle(p, "box_how", nil)
	}
}

func (d *decision) listBoxes(p *Person, k *Catcher) {
	if len(k.Boxes) == 0 {
		d.idle(p, "box_how", nil)
		return
	}
	lines := make([]string, len(k.Boxes))
	for i, b := range k.Boxes {
		lines[i] = itoa(b.N) + " " + b.Place
		if b.Catches > 0 {
			lines[i] += " (" + itoa(b.Catches) + ")"
		}
	}
	d.idle(p, "box_list", values{"List": strings.Join(lines, "; ")})
}

// addBox adds a bait box and says, kindly, what is known of such boxes.
func (d *decision) addBox(p *Person, k *Catcher, spec intake.BaitBox) {
	n := 1
	for _, b := range k.Boxes {
		n = max(n, b.N+1)
	}
	b := BaitBox{N: n, Place: spec.Place, VolumeL: spec.VolumeL, HeightM: spec.HeightM, EntranceCm2: spec.EntranceCm2, Set: d.Now.UTC().Truncate(time.Second)}
	if spec.Lured {
		b.Lured = b.Set
	}
	k.Boxes = append(k.Boxes, b)
	d.nextCheck(k, b)
	said := []string{d.say(p.party(), "box_added", values{"Count": n})}
	for _, key := range boxAdvice(b) {
		said = append(said, d.say(p.party(), key, nil))
	}
	d.send(p.party(), notify.News, strings.Join(said, " "))
}

// boxAdvice is what is known of such a box: 10 litres were never taken, 25 readily, 40 beat
// 100 by 7 to 0 (Seeley, The Lives of Bees, 2019, p. 116-117); about 40 litres, 5 m up and an
// entrance of 10-15 cm2 (Seeley, Morse, Nowogrodzki, Bait Hives for Honey Bees, Cornell
// Information Bulletin 187, 1989, as quoted by others). That two or three metres are the
// better bargain with a ladder is judgement.
func boxAdvice(b BaitBox) []string {
	var keys []string
	add := func(when bool, key string) {
		if when {
			keys = append(keys, key)
		}
	}
	add(b.VolumeL > 0 && b.VolumeL < 25, "box_small")
	add(b.VolumeL > 80, "box_roomy")
	add(b.HeightM > 0 && b.HeightM < 1.8, "box_low")
	add(b.HeightM > 3, "box_high")
	add(b.EntranceCm2 > 0 && b.EntranceCm2 < 10, "box_narrow")
	add(b.EntranceCm2 > 40, "box_wide")
	add(b.Lured.IsZero(), "box_lure")
	if len(keys) == 0 {
		return []string{"box_fine"}
	}
	return keys[:min(len(keys), 2)]
}

// nextCheck enters the next look at a box: in a week while the season lasts, else when the
// next one opens.
func (d *decision) nextCheck(k *Catcher, b BaitBox) {
	at := d.onDay(checkEvery, careHour)
	if !triage.InSeason(at, k.Lat) {
		for year := d.now.Year(); ; year++ {
			if opens, _ := triage.Season(year, k.Lat, d.now.Location()); opens.After(d.now) {
				at = opens.Add(careHour * time.Hour)
				break
			}
		}
	}
	d.enter(k, Reminder{What: "trap", Ref: b.ref(), At: at})
}

func (d *decision) boxPlace(k *Catcher, ref string) string {
	for _, b := range k.Boxes {
		if b.ref() == ref {
			return itoa(b.N) + " " + b.Place
		}
	}
	return ref
}

// boxChecked notes a look at a box.
func (d *decision) boxChecked(k *Catcher, ref string) {
	for i := range k.Boxes {
		if b := &k.Boxes[i]; b.ref() == ref {
			b.Checked = d.Now.UTC().Truncate(time.Second)
			d.nextCheck(k, *b)
		}
	}
}

// boxWord is what happened to one box.
func (d *decision) boxWord(p *Person, k *Catcher, i int, what string) {
	b := &k.Boxes[i]
	v := values{"Count": b.N}
	starts := func(words ...string) bool {
		return slices.ContainsFunc(words, func(w string) bool { return strings.HasPrefix(what, w) })
	}
	switch {
	case starts("check", "revis", "empty", "vac"):
		d.boxChecked(k, b.ref())
		key := "box_checked"
		if d.Now.Sub(b.Lured) > lureLasts {
			key = "box_relure"
		}
		d.tell(p.party(), notify.News, key, v)
	case starts("lure", "cebo"):
		b.Lured = d.Now.UTC().Truncate(time.Second)
		d.boxChecked(k, b.ref())
		d.tell(p.party(), notify.News, "box_checked", v)
	case starts("moving", "bees", "scout", "entran", "abejas"):
		d.tell(p.party(), notify.News, "box_moving", v)
	case starts("caught", "catch", "atrap", "captura"):
		d.boxCaught(p, k, b)
	case starts("remove", "gone", "quita"):
		ref := b.ref()
		k.Boxes = slices.Delete(slices.Clone(k.Boxes), i, i+1)
		k.Diary = slices.DeleteFunc(k.Diary, func(r Reminder) bool { return r.Ref == ref })
		d.setDiary(k)
		d.tell(p.party(), notify.News, "box_removed", v)
	default:
		d.idle(p, "box_how", nil)
	}
}

// boxCaught enters a catch of the trap line into the ledger, as a call that began and ended
// at once, and plans the days after.
func (d *decision) boxCaught(p *Person, k *Catcher, b *BaitBox) {
	b.Catches++
	id := derive(d.Secret, "call", string(d.Event.ID()), 12)
	c := d.call(id)
	*c = Call{
		Schema: documentSchema, ID: id, Reference: d.newReference(), Stage: Hived, Opened: d.Now, Ended: d.Now, By: byTrapLine,
		Caller: p.party(), Answers: intake.Answers{Month: int(d.now.Month()), Place: &intake.Place{Text: b.Place, Lat: k.Lat, Lon: k.Lon, PrecisionM: intake.InWordsOnly}},
		Holder: &Holder{Catcher: k.ID, Name: k.Name, Party: d.catcherParty(k), Taken: d.Now},
		Found:  triage.HoneyBeeSwarm,
	}
	d.note(c, "trap_line")
	c.Reached = []Line{{At: d.now.UTC().Truncate(time.Second), What: string(Hived)}}
	d.change.Finds = append(d.change.Finds, Find{"ref:" + c.Reference, id})
	d.change.Closed = append(d.change.Closed, Closed{id, d.Now})
	d.willScrub(c, p) // where the box stands is the catcher's own, and theirs to have erased
	d.planCare(c, k)
	d.tell(p.party(), notify.News, "box_caught", values{"Count": b.N, "Ref": c.Reference})
}
