package bot

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"time"
)

// A picture that comes by SMS or chat stays with its provider: we keep its name and fetch it
// when somebody looks. One that is added on the caller's page has no provider, so we hold it
// ourselves, made small and with nothing in it but what can be seen, and let go of it a day
// after its call ended, when the links end too.

// KindPhoto is the kind of document that holds such a picture.
const KindPhoto = "photo"

// ownPhoto begins the name of a picture that we hold; its document's id follows.
const ownPhoto = "sk:"

const (
	// MostPhotoBytes is how large a picture that we hold may be: with the rest of its change
	// it has to go into the store in one piece.
	MostPhotoBytes = 120_000
	// mostOwnPhotos is how many we hold for one call. Judgement: near, far and from the side.
	mostOwnPhotos = 3
	photosPurpose = "photos"
)

// OutcomeEnough is a picture beyond those that a call may have.
const OutcomeEnough Outcome = "enough"

// heldPhoto is the document.
type heldPhoto struct {
	Schema int    `json:"schema"`
	JPEG   []byte `json:"jpeg"`
}

// addPhoto takes in a picture from the caller's page, as if it had come as a message.
func (d *decision) addPhoto(p *Person, c *Call, e Paged) {
	if len(ownPhotos(c)) >= mostOwnPhotos {
		d.change.Outcome = OutcomeEnough
		return
	}
	body, err := json.Marshal(heldPhoto{documentSchema, e.Photo})
	if err != nil {
		panic(fmt.Errorf("a picture cannot be written: %w", err))
	}
	id := derive(d.Secret, "photo", string(e.Event), 16)
	said := Said{Event: e.Event, From: p.Address, Photos: []string{ownPhoto + id}}
	d.onPage = &said
	if !d.answers(p, said) {
		d.more(p, c, said)
	}
	if !slices.Contains(c.Photos, ownPhoto+id) { // nothing took it in, so nothing would let go of it
		d.change.Outcome = OutcomeEnough
		return
	}
	d.change.Documents = append(d.change.Documents, Document{Key: Key{KindPhoto, id}, Body: body})
}

// ownPhotos returns the ids of c's pictures that we hold.
func ownPhotos(c *Call) []string {
	var ids []string
	for _, name := range c.Photos {
		if id, ours := strings.CutPrefix(name, ownPhoto); ours {
			ids = append(ids, id)
		}
	}
	return ids
}

// willDropPhotos sets the clock for the pictures of a call that just ended.
func (d *decision) willDropPhotos(c *Call) {
	if len(ownPhotos(c)) > 0 {
		d.set(c, photosPurpose, d.Now.Add(linkLasts))
	}
}

// dropPhotos lets go of the pictures that we hold for c.
func (d *decision) dropPhotos(c *Call) {
	var keys []Key
	for _, id := range ownPhotos(c) {
		keys = append(keys, Key{KindPhoto, id})
	}
	d.want(keys...)
	for _, k := range keys {
		doc, _ := d.document(k) // wanted above
		d.erase(doc)
		c.Photos = without(c.Photos, ownPhoto+k.ID)
	}
	d.clear(c, photosPurpose)
}

// photosDue is the timer of an ended call's pictures. One that was opened again keeps them.
func (d *decision) photosDue(c *Call) {
	if !c.Ended.IsZero() && d.Now.Sub(c.Ended) >= linkLasts-time.Minute {
		d.dropPhotos(c)
	}
}

// Picture returns a picture that we hold, by its name without "sk:"; nil when there is none
// (any more).
func (h *Hotline) Picture(ctx context.Context, id string) ([]byte, error) {
	docs, err := h.Store.Documents(ctx, []Key{{KindPhoto, id}})
	if err != nil {
		return nil, fmt.Errorf("read a picture: %w", err)
	}
	if docs[0].Version == 0 {
		return nil, nil
	}
	var p heldPhoto
	if _, err := decodeDocument(docs[0], &p); err != nil {
		return nil, err
	}
	return p.JPEG, nil
}

// isJPEG reports whether b begins as a JPEG does (ITU-T T.81, B.1.1.3: SOI, then a marker).
func isJPEG(b []byte) bool { return bytes.HasPrefix(b, []byte{0xFF, 0xD8, 0xFF}) }
