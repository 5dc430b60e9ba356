package bot

import (
	"bytes"
	"hash/maphash"
	"sync/atomic"
)

// looked holds what was read of the documents looked at last. A round looks at the calls that
// want the same catchers, and a message at the call it is about, over and over; to read a
// document takes longer than what is looked for in it.
var (
	looked     [512]atomic.Pointer[lookedAt]
	lookedSeed = maphash.MakeSeed()
)

// lookedAt is a document and what was read of it, which nobody changes.
type lookedAt struct {
	key  Key
	body []byte
	work any
}

// look returns what document k says, for those who only look: others look at the same. It
// stops the decision when the document is not loaded yet.
func look[T any](d *decision, opened []*copyOf[T], k Key) *T {
	for _, c := range opened {
		if c.doc.Key == k {
			return c.work
		}
	}
	doc, ok := d.document(k)
	if !ok {
		panic(Need{Keys: []Key{k}})
	}
	if doc.Version == 0 {
		return new(T)
	}
	place := &looked[maphash.String(lookedSeed, k.ID)%uint64(len(looked))]
	if known := place.Load(); known != nil && known.key == k && bytes.Equal(known.body, doc.Body) {
		return known.work.(*T)
	}
	work := new(T)
	if _, err := decodeDocument(doc, work); err != nil {
		panic(badDocument{err})
	}
	place.Store(&lookedAt{k, doc.Body, work})
	return work
}
