package bot

import (
	"slices"

	"skepline/intake"
	"skepline/notify"
	"skepline/triage"
)

// What a caller hears whose bees nobody of ours will fetch: whom else to ask, or why to leave them.

// nobody is the end of the list: everyone who could come has been asked, or nobody could.
// Stewards are told once; the caller hears the truth and a clock time.
func (d *decision) nobody(c *Call) {
	if c.timer("lapse").At.IsZero() {
		d.set(c, "lapse", d.Now.Add(lapseAfter))
	}
	if c.Thin {
		return
	}
	c.Thin = true
	d.note(c, "nobody_free")
	except := ""
	if near := d.around(d.needs(c).Place); near.Members == 1 {
		// A roster of one is not alarmed at itself.
		except = PersonID(d.Secret, near.Roster[0].Address)
	}
	c.Promised = roundUp(d.Now.Add(stewardTime))
	d.tellStewards("steward_thin", d.about(c, Party{}), except)
	d.clear(c, "news")
	d.set(c, "steward", c.Promised)
	d.tell(c.Caller, notify.News, "nobody_yet", d.about(c, c.Caller))
}

// refer gives the caller somebody else to turn to, when nobody of ours answered in time.
func (d *decision) refer(c *Call) {
	if c.Referred || !c.Ended.IsZero() || c.Holder != nil {
		return
	}
	c.Referred = true
	d.note(c, "referred")
	d.clear(c, "news")
	c.Promised = roundUp(d.Now.Add(lapseAfter))
	d.set(c, "lapse", c.Promised)
	v := d.about(c, c.Caller)
	v["Help"] = d.Settings.Refer(d.purpose(c))
	key := "referral"
	if c.Held != "" {
		key = "referral_held"
	}
	d.tell(c.Caller, notify.News, key, v)
}

// purpose is the kind of help a caller needs elsewhere.
func (d *decision) purpose(c *Call) string {
	if c.Assessment.Route == triage.RouteSpecialist {
		return "colony"
	}
	return "bees"
}

// specialist is a colony in a structure: for a catcher who does removals, or else for an
// insured remover outside the club.
func (d *decision) specialist(p *Person, c *Call) {
	able := d.removers()
	if able && c.Answers.Place != nil {
		d.advise(c, notify.News, triage.DontSealHole)
		d.look(p, c)
		return
	}
	if able && c.Answers.Place == nil && !slices.Contains(p.Talk.Asked, intake.AskPlace) {
		d.ask(p, c, intake.AskPlace, "")
		return
	}
	d.tell(c.Caller, notify.News, "redirect_specialist", d.help("colony"))
	d.lapseOffers(c, "offer_withdrawn")
	d.end(c, PassedOn)
}

// elsewhere looks at a swarm that nobody holds once more is known of it. What is not for those
// who were asked is taken from them: all of it when it is not ours or too high for anybody, and
// else from those who cannot do it. False means that catchers go on being asked, as for a box:
// a catcher saw what went into it.
func (d *decision) elsewhere(p *Person, c *Call) bool {
	if c.Stage != Looking || c.InBox || c.Joined != "" {
		return false
	}
	switch route := c.Assessment.Route; {
	case route == triage.RouteRedirect:
		d.standDown(c)
		d.redirect(p, c)
		return true
	case beyondAnybody(c):
		d.standDown(c)
		d.leaveAlone(p, c)
		return true
	case route == triage.RouteSpecialist && !d.removers():
		d.standDown(c)
		d.specialist(p, c)
		return true
	}
	if d.fewerCan(c) && c.openOffers() == 0 && c.kept() == nil {
		d.set(c, "round", d.Now)
	}
	return false
}

// fewerCan takes the call from those who were asked, or wait in line, and cannot do it any
// more. It reports whether there were such.
func (d *decision) fewerCan(c *Call) bool {
	found := false
	var keys []Key
	for _, o := range c.Offers {
		keys = append(keys, Key{KindCatcher, o.Catcher})
	}
	d.want(keys...)
	for i := range c.Offers {
		o := &c.Offers[i]
		k := d.catcher(o.Catcher)
		if k.ID == "" || o.P == 0 { // gone, or named by a steward, who knows why
			continue
		}
		if _, able := notify.Able(k.Catcher, d.needs(c)); able {
			continue
		}
		switch o.State {
		case notify.AskOpen, notify.AskFallback:
			d.lapseOffer(c, o, "offer_withdrawn")
		case notify.AskStandby:
			d.tell(o.Party, notify.Taken, "offer_withdrawn", d.about(c, o.Party))
		default:
			continue
		}
		o.State, found = notify.AskPassed, true
	}
	return found
}

// removers reports whether the club has anybody who takes nests out of buildings.
func (d *decision) removers() bool {
	if d.Board == nil {
		panic(Need{Roster: true})
	}
	return slices.ContainsFunc(d.Roster, func(k notify.Catcher) bool { return slices.Contains(k.Skills, notify.Cutout) })
}

func (d *decision) help(purpose string) values { return values{"Help": d.Settings.Refer(purpose)} }

// redirect is not ours: the caller is told who it is likely to be, what to do and whom to
// turn to, and how to come back if it is a cluster after all.
func (d *decision) redirect(p *Person, c *Call) {
	kind := c.Assessment.Subject()
	purpose, stage := "wasps", PassedOn
	switch kind {
	case triage.BumbleBee, triage.GroundBee, triage.CarpenterBee, triage.Foragers:
		purpose, stage = "", LeftAlone
	}
	d.note(c, "redirected "+string(kind))
	d.tell(c.Caller, notify.News, c.Assessment.RedirectKey(), d.help(purpose))
	if slices.Contains(c.Assessment.Advice, triage.ReportNotifiable) {
		d.advise(c, notify.News, triage.ReportNotifiable)
	}
	d.lapseOffers(c, "offer_withdrawn")
	d.end(c, stage)
}

// beyondAnybody reports whether the swarm is higher than anybody is sent.
func beyondAnybody(c *Call) bool {
	h := c.Answers.HeightM
	return h != nil && *h > outOfReach && c.Assessment.Route == triage.RouteOffer
}

// leaveAlone is a swarm that nobody should climb to.
func (d *decision) leaveAlone(p *Person, c *Call) {
	d.advise(c, notify.News, triage.TooHigh)
	d.lapseOffers(c, "offer_withdrawn")
	d.end(c, LeftAlone)
}
