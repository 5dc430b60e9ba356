package bot

import (
	"strings"
)

// A call's reference is four characters that people can read to each other. It names the call and
// proves nothing.

// newReference makes four letters and digits that no other call has. They name a call and
// prove nothing, but nobody should guess them either.
func (d *decision) newReference() string {
	for try := range 50 {
		if ref := reference(d.Secret, d.Event.ID(), try); ref != "" && d.find("ref:"+ref) == "" {
			return ref
		}
	}
	panic("no free reference in 50 tries")
}

// reference is the reference that an event's call would have at a try, "" for one that has no
// digit and could be a word.
func reference(secret []byte, event EventID, try int) string {
	seed := derive(secret, "reference "+itoa(try), string(event), 16)
	var ref strings.Builder
	for i := range 4 {
		ref.WriteByte(referenceLetters[(int(seed[2*i])*31+int(seed[2*i+1]))%len(referenceLetters)])
	}
	if !strings.ContainsAny(ref.String(), "23456789") {
		return ""
	}
	return ref.String()
}

// firstReference names the look-up entry that an event needs if it opens a call, so that it
// is read along with the rest; "" when it opens none.
func firstReference(secret []byte, e Event) string {
	switch e.(type) {
	case Said, Rang:
	default:
		return ""
	}
	for try := range 50 {
		if ref := reference(secret, e.ID(), try); ref != "" {
			return "ref:" + ref
		}
	}
	return ""
}
