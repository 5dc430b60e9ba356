package rehearsal

import (
	"reflect"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"skepline/bot"
	"skepline/notify"
)

const everyLine = `
# every kind of line
clock 2026-05-12 14:05
phone gwen sms +16075550142
phone lupe telegram lang es
catcher ada telegram 42.451,-76.482 reach 15 height 4 skills ladder;suit jobs 2 lang es hours Mo-Fr 17:00-21:00; Sa 08:00-12:00
catcher chidi sms +16075550123 42.5,-76.4
steward sam telegram
gwen > There's a ball of bees\non my   apple tree
gwen < Hello
gwen <~ honey bees
gwen <! ETA
ada edited <~ Bram has it
ada taps Take it
gwen pins 42.446,-76.490
gwen photo
gwen photo here they are
gwen rings
later 1h30m
`

func TestParseEveryLine(t *testing.T) {
	got, err := Parse("all.txt", everyLine)
	if err != nil {
		t.Fatal(err)
	}
	gwen := person{name: "gwen", channel: notify.SMS, number: "+16075550142"}
	chidi := person{name: "chidi", channel: notify.SMS, number: "+16075550123"}
	want := []act{
		meetPhone{4, gwen},
		meetPhone{5, person{name: "lupe", channel: notify.Telegram, language: "es"}},
		meetCatcher{6, person{name: "ada", channel: notify.Telegram}, notify.Catcher{
			ID: "ada", Name: "Ada", Lat: 42.451, Lon: -76.482, ReachKm: 15, MaxHeightM: 4, JobsADay: 2, Language: "es",
			Skills: []notify.Skill{notify.Ladder, notify.Suit}, Hours: "Mo-Fr 17:00-21:00; Sa 08:00-12:00"}},
		meetCatcher{7, chidi, notify.Catcher{ID: "chidi", Name: "Chidi", Lat: 42.5, Lon: -76.4, ReachKm: 25, MaxHeightM: 3, JobsADay: notify.DefaultJobsADay}},
		meetSteward{8, person{name: "sam", channel: notify.Telegram}},
		says{9, "gwen", "There's a ball of bees\non my   apple tree"},
		expects{10, "gwen", next, "Hello"},
		expects{11, "gwen", some, "honey bees"},
		expects{12, "gwen", none, "ETA"},
		expects{13, "ada", edited, "Bram has it"},
		taps{14, "ada", "Take it"},
		pins{15, "gwen", bot.Point{Lat: 42.446, Lon: -76.49}},
		sendsPhoto{16, "gwen", ""},
		sendsPhoto{17, "gwen", "here they are"},
		rings{18, "gwen"},
		later{19, 90 * time.Minute},
	}
	all := cmp.Exporter(func(reflect.Type) bool { return true })
	if diff := cmp.Diff(want, got.acts, all); diff != "" {
		t.Error(diff)
	}
	if at := time.Date(2026, 5, 12, 14, 5, 0, 0, time.UTC); !got.start.Equal(at) {
		t.Errorf("the clock starts at %v, want %v", got.start, at)
	}
}

func TestParseRefuses(t *testing.T) {
	for _, row := range []struct{ why, text, want string }{
		{"an unknown act", "phone gwen sms\ngwen shouts hello", `t.txt:2: "shouts" is nothing that gwen can do; allowed are`},
		{"a stranger", "gwen > hello", `t.txt:1: nobody is called "gwen" yet; introduce them first`},
		{"a word alone", "hello", `t.txt:1: "hello" is not an act; allowed are`},
		{"a clock that is none", "clock tomorrow", `t.txt:1: "tomorrow" is not a time; write one such as "clock 2026-05-12 14:05"`},
		{"a clock that jumps", "phone gwen sms\nclock 2026-05-12 14:05", `t.txt:2: the clock is set once and before everything else`},
		{"a wait without a unit", "later 25", `t.txt:1: "25" is not a time to wait; write one such as 30s, 25m, 2h, 1d or 1h30m`},
		{"a wait backwards", "later -5m", `t.txt:1: "-5m" is not a time to wait`},
		{"a channel we lack", "phone gwen fax", `t.txt:1: "fax" is not a channel; allowed are sms, whatsapp and telegram`},
		{"a number on telegram", "phone gwen telegram +16075550142", "t.txt:1: a number is + and 7 to 15 digits, and people on telegram have none"},
		{"a name that begins a line of its own", "phone later sms", `t.txt:1: "later" cannot be a name`},
		{"a second phone", "phone gwen sms\nsteward gwen telegram", "t.txt:2: gwen has a phone on sms already; a person has one"},
		{"words behind a phone", "phone gwen sms +16075550142 please", `t.txt:1: "please" is not expected here`},
		{"a homeless catcher", "catcher ada telegram", "t.txt:1: a catcher needs a home"},
		{"a place that is none", "catcher ada telegram 42.4", `t.txt:1: "42.4" is not a place; write degrees north and east, such as 42.446,-76.490`},
		{"a place off the earth", "catcher ada telegram 91,0", `t.txt:1: "91,0" is not a place`},
		{"an ability we lack", "catcher ada telegram 42,-76 strength 9", `t.txt:1: a catcher has no "strength"; allowed are reach KM`},
		{"a skill we lack", "catcher ada telegram 42,-76 skills singing", `t.txt:1: "singing" is not a skill; allowed are ladder, cutout and suit`},
		{"a reach in words", "catcher ada telegram 42,-76 reach far", `t.txt:1: "far" is not a number behind "reach"`},
		{"hours nobody reads", "catcher ada telegram 42,-76 hours sometimes", "t.txt:1:"},
		{"nothing expected", "phone gwen sms\ngwen <", `t.txt:2: "<" needs the words to look for`},
		{"an edit without its mark", "phone ada telegram\nada edited Bram", `t.txt:2: after "edited" comes "<~" and words`},
		{"a tap on nothing", "phone ada telegram\nada taps", `t.txt:2: "taps" needs the button's label`},
		{"an empty page", "# nothing\n", "t.txt: nothing happens in it; allowed are"},
	} {
		_, err := Parse("t.txt", row.text)
		if err == nil || !strings.HasPrefix(err.Error(), row.want) {
			t.Errorf("%s: got %v, want %s", row.why, err, row.want)
		}
	}
}

func TestParseReportsEveryWrongLine(t *testing.T) {
	_, err := Parse("t.txt", "later soon\nphone gwen sms\ngwen dances")
	if err == nil || !strings.Contains(err.Error(), "t.txt:1:") || !strings.Contains(err.Error(), "t.txt:3:") {
		t.Errorf("got %v, want a sentence on line 1 and one on line 3", err)
	}
}

func TestOnePersonMayHaveSeveralParts(t *testing.T) {
	got, err := Parse("t.txt", "catcher ada sms +16075550123 42,-76\nsteward ada sms")
	if err != nil {
		t.Fatal(err)
	}
	if s := got.acts[1].(meetSteward); s.owner.number != "+16075550123" {
		t.Errorf("the steward has another phone than the catcher: %+v", s.owner)
	}
}
