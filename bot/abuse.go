package bot

import (
	"crypto/sha256"
	"encoding/hex"
	"strings"
	"time"

	"skepline/intake"
	"skepline/notify"
)

// What one person may ask of the hotline. All numbers are judgement: far above what a
// worried caller or a catcher on a busy evening texts. A text that tells of a severe
// reaction, an opt-out word and STOP's kin are read before any of this.
var floodLimits = Limits{TextsIn10Minutes: 40, TextsADay: 250}

const (
	sameTexts   = 3  // a longer text that comes that often in an hour is a machine's
	reportsFree = 4  // reports of one person in a day that go to catchers by themselves
	reportsRead = 10 // reports of one person in a day that are read at all
)

// Abuse is what a person's texts amounted to lately.
type Abuse struct {
	Texts   Tally       `json:"texts,omitzero"`    // every text
	Alarms  Tally       `json:"alarms,omitzero"`   // emergencies told
	Last    string      `json:"last,omitempty"`    // hash of the last longer text
	Since   time.Time   `json:"since,omitzero"`    // when it came first
	Times   int         `json:"times,omitempty"`   // how often since then
	Told    time.Time   `json:"told,omitzero"`     // when we said that we fall silent, or that this is no way to talk
	Reports []time.Time `json:"reports,omitempty"` // calls begun, last day
}

// tooMuch reports whether a text is left unanswered: one of a flood, an echo of another
// machine, or an insult after the first. The first time says why.
func (d *decision) tooMuch(p *Person, e Said) bool {
	if d.Settings.IsSteward(p.Address) {
		return false
	}
	a := &p.Abuse
	switch {
	case !a.Texts.allow(d.Now, floodLimits):
		d.hush(p, "flood")
	case a.echoes(e.Text, d.Now):
		d.hush(p, "")
	case intake.Insult(e.Text) && len(intake.Understand(e.Text, d.setting(p)).Readings) == 0:
		d.hush(p, "rude")
	default:
		return false
	}
	return true
}

// hush says key, once in a day, and then nothing.
func (d *decision) hush(p *Person, key string) {
	d.change.Outcome = OutcomeQuiet
	if key == "" || d.Now.Sub(p.Abuse.Told) < 24*time.Hour {
		return
	}
	p.Abuse.Told = d.Now
	d.change.Outcome = OutcomeNoted
	d.tell(p.party(), notify.News, key, nil)
}

// echoes counts a longer text that comes again and again.
func (a *Abuse) echoes(text string, now time.Time) bool {
	words := strings.Fields(lower(text))
	if len(words) < 3 {
		return false
	}
	sum := sha256.Sum256([]byte(strings.Join(words, " ")))
	hash := hex.EncodeToString(sum[:6])
	if hash != a.Last || now.Sub(a.Since) > time.Hour {
		a.Last, a.Since, a.Times = hash, now, 0
	}
	a.Times++
	return a.Times > sameTexts
}

// mayReport counts one more report of p and says whether it is read.
func (d *decision) mayReport(p *Person) bool {
	if d.Settings.IsSteward(p.Address) {
		return true
	}
	p.Abuse.Reports = since(p.Abuse.Reports, d.Now.Add(-24*time.Hour))
	if len(p.Abuse.Reports) >= reportsRead {
		d.hush(p, "flood")
		return false
	}
	p.Abuse.Reports = append(p.Abuse.Reports, d.Now)
	return true
}

// manyReports reports whether a person from the club looks at p's report before catchers
// are asked: nobody sees that many swarms in a day.
func (d *decision) manyReports(p *Person) bool {
	return !d.Settings.IsSteward(p.Address) && len(since(p.Abuse.Reports, d.Now.Add(-24*time.Hour))) > reportsFree
}
