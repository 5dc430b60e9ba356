package bot

import (
	"strings"
	"testing"
	"time"

	"skepline/notify"
)

func TestNoLinksArePassedOn(t *testing.T) {
	for _, row := range []struct{ why, in, want string }{
		{"words", "Ring twice, the dog is fine. See you at 5.30", "Ring twice, the dog is fine. See you at 5.30"},
		{"a link", "pay here https://evil.example/pay?x=1 please", "pay here […] please"},
		{"another scheme", "open tg://resolve?domain=x", "open […]"},
		{"without a scheme", "see www.evil.example and bit.ly/3xyz", "see […] and […]"},
		{"a bare host", "go to evil-bank.com now", "go to […] now"},
		{"a map", "here: https://maps.app.goo.gl/AbC123", "here: https://maps.app.goo.gl/AbC123"},
		{"a map by name", "https://www.google.com/maps/search/?api=1&query=42.4,-76.5", "https://www.google.com/maps/search/?api=1&query=42.4,-76.5"},
		{"a map's host that sends you elsewhere", "https://www.google.com/url?q=https://evil.example", "[…]"},
		{"a host that only looks like a map's", "https://maps.app.goo.gl.evil.example/x", "[…]"},
		{"a name in front", "https://maps.google.com@evil.example/", "[…]"},
		{"no full stop between sentences", "on the fence.Come soon", "on the fence.Come soon"},
	} {
		if got := withoutLinks(row.in); got != row.want {
			t.Errorf("%s: %q became %q, want %q", row.why, row.in, got, row.want)
		}
	}
}

// TestRelay holds that words pass only between the two sides of a live call, without links,
// without numbers, and not after one side has reported the other or opted out.
func TestRelay(t *testing.T) {
	m := crewed(t)
	gwen, ada := walkers[0], walkers[4]
	m.says(t, gwen, swarmOnFence)
	got := func(to notify.Address) string {
		texts := m.got(to, 0)
		if len(texts) == 0 {
			return ""
		}
		return texts[len(texts)-1]
	}
	m.says(t, gwen, "the code is 4711")
	if strings.Contains(got(ada), "4711") {
		t.Error("a catcher who has not taken it reads the caller's words")
	}
	m.says(t, ada, "TAKE", "30")
	m.says(t, ada, "Please keep the dog in, see http://evil.example/x")
	if text := got(gwen); !strings.HasSuffix(text, "Please keep the dog in, see […]") || strings.Contains(text, ada.Number()) {
		t.Errorf("the caller read %q", text)
	}
	m.says(t, gwen, "the cat is called Otto")
	if text := got(ada); !strings.HasSuffix(text, "the cat is called Otto") || strings.Contains(text, gwen.Number()) {
		t.Errorf("the catcher read %q", text)
	}
	m.says(t, gwen, "REPORT")
	if text := got("telegram:5550199"); !strings.Contains(text, "reported") {
		t.Errorf("the steward read %q", text)
	}
	before := len(m.sent)
	m.says(t, ada, "why", "answer me now")
	m.says(t, gwen, "he is shouting")
	for _, msg := range m.sent[before:] {
		if msg.Class == notify.Relay {
			t.Errorf("after the report %q was passed on", msg.Text)
		}
	}
	if n := len(m.got(ada, before)); n != 1 {
		t.Errorf("the catcher was told %d times that nothing is passed on", n)
	}
	m.says(t, ada, "THERE", "FLOWN")
	m.wait(t, 31*24*time.Hour)
	m.without(t, "after the erasure", PersonID(testSecret, gwen), "4711")
}
