package bot

import (
	"crypto/hmac"
	"crypto/sha256"
	"encoding/base64"
	"strconv"
	"strings"
	"time"

	"skepline/intake"
	"skepline/notify"
)

// The pages that a link may open.
const (
	PageOffer  = "o" // a catcher's: one call put to one catcher
	PageCaller = "w" // a caller's: where it is, and how it stands
)

// linkLasts is how long after a call's end its links still open.
const linkLasts = 24 * time.Hour

// linkMask stands in a stored text where the token will stand once it is sent. It is as long
// as a token and costs as many septets, so that a text's length is known beforehand.
const linkMask = "______________________"

// linkToken is the 128-bit token of a link, 22 letters of base64url. Nobody can make it
// without the secret; what is stored is its hash.
func linkToken(secret []byte, seed string) string {
	mac := hmac.New(sha256.New, secret)
	mac.Write([]byte("link\x00" + seed))
	return base64.RawURLEncoding.EncodeToString(mac.Sum(nil)[:16])
}

// LinkHash returns the form of a link's token that is stored and passed about.
func LinkHash(token string) string { return tokenHash(token) }

// offerSeed binds a link to one call, one catcher and one run of offers: after a drop the
// links of before open no more than the news that there is a newer one.
func offerSeed(c *Call, catcher string) string {
	return PageOffer + "/" + c.ID + "/" + catcher + "/" + itoa(c.Epoch)
}

func callerSeed(c *Call) string { return PageCaller + "/" + c.ID + "/" + c.Caller.Person }

// links reports whether texts to p may carry a link: pages are on, and the channel has no
// buttons and maps of its own.
func (d *decision) links(p Party) bool {
	return d.Settings.PublicURL != "" && p.Address.Channel() != notify.Telegram
}

// linkURL is the link of a seed as it stands in a stored text.
func (d *decision) linkURL(seed string) string {
	return d.Settings.PublicURL + "/" + seed[:1] + "/" + linkMask
}

// carry lets m carry the link of seed, and lets its hash be found.
func (d *decision) carry(m *notify.Message, c *Call, seed string) {
	hash := LinkHash(linkToken(d.Secret, seed))
	m.Link = &notify.Link{Seed: seed, Hash: hash}
	if contains(c.Links, hash) {
		return
	}
	c.Links = append(c.Links, hash)
	d.change.Finds = append(d.change.Finds, Find{"tok:" + hash, "page:" + seed})
}

// addLink puts the caller's own link behind the words of m, unless that would take more than
// so many SMS, and more than the words alone.
func (d *decision) addLink(m *notify.Message, c *Call, key string, segments int) {
	if !d.links(c.Caller) {
		return
	}
	text := m.Text + " " + d.say(c.Caller, key, values{"Link": d.linkURL(callerSeed(c))})
	if n := notify.Segments(intake.GSM(text)); n > segments && n > notify.Segments(intake.GSM(m.Text)) {
		return
	}
	m.Text = text
	d.carry(m, c, callerSeed(c))
}

// fillLink puts a link's token in the place of its mask. The hash says which secret made it;
// false means that none of ours did.
func (h *Hotline) fillLink(out notify.Outgoing) (notify.Outgoing, bool) {
	if out.Link == nil {
		return out, true
	}
	for _, secret := range h.Secrets {
		if token := linkToken(secret, out.Link.Seed); LinkHash(token) == out.Link.Hash {
			out.Text = strings.Replace(out.Text, linkMask, token, 1)
			return out, true
		}
	}
	return out, false
}

// Opened is what a link opens: a call, and for whom.
type Opened struct {
	Page  string // PageOffer or PageCaller
	Call  *Call
	Who   string // catcher id, or the caller's person id
	Offer *Offer // the catcher's offer, with PageOffer
	Newer bool   // there is a newer link for the same offer
}

// opens reads which call the link with that hash is for, nil when it opens nothing (any more).
func (d *decision) opens(hash string) *Opened {
	seed, ok := strings.CutPrefix(d.find("tok:"+hash), "page:")
	parts := strings.Split(seed, "/")
	if !ok || len(parts) < 3 {
		return nil
	}
	o := &Opened{Page: parts[0], Call: d.call(parts[1]), Who: parts[2]}
	if o.Call.ID == "" || !o.Call.Ended.IsZero() && d.Now.Sub(o.Call.Ended) > linkLasts {
		return nil
	}
	if o.Page == PageCaller {
		if o.Call.Caller.Person != o.Who {
			return nil
		}
		return o
	}
	if len(parts) != 4 || o.Call.offer(o.Who) == nil {
		return nil
	}
	epoch, _ := strconv.Atoi(parts[3])
	o.Offer = o.Call.offer(o.Who)
	// The link by which a call was taken goes on to work for the holder.
	o.Newer = epoch != o.Offer.Epoch
	return o
}
