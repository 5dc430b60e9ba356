package intake

import (
	"testing"
	"time"
)

func TestReadWhen(t *testing.T) {
	// Tuesday 12 May 2026, two in the afternoon.
	s := Setting{Language: "en", At: time.Date(2026, 5, 12, 14, 0, 0, 0, time.UTC)}
	for text, want := range map[string]string{
		"tomorrow 18:00": "13 18:00", "tomorrow": "13 18:00", "tomorrow at 7 pm": "13 19:00", "6:30 pm": "12 18:30", "9:00": "13 09:00",
		"sunday 9am": "17 09:00", "friday": "15 18:00", "2h": "12 16:00", "3d": "15 14:00", "in 2 days": "14 14:00", "mañana 18:00": "13 18:00",
		"today 23:30": "12 23:30", "tonight at 8 pm": "12 20:00", "today": "12 18:00", "today 9:00": "", "hoy 20:00": "12 20:00",
		"": "", "bees": "", "tomorrow there will be bees": "", "99:00": "", "18": "",
	} {
		got, ok := ReadWhen(text, s)
		if ok != (want != "") || ok && got.Format("2 15:04") != want {
			t.Errorf("%q: %s %v, want %q", text, got.Format("2 15:04"), ok, want)
		}
	}
}

func TestCatchersDayWords(t *testing.T) {
	s := Setting{Language: "en", At: time.Date(2026, 5, 12, 14, 0, 0, 0, time.UTC)}
	for _, c := range []struct {
		text string
		want Command
	}{
		{"TOO HIGH", Command{Word: WordTooHigh}},
		{"too high 7kq2", Command{Word: WordTooHigh, Reference: "7KQ2"}},
		{"TOO HIGH 20 ft", Command{Word: WordTooHigh, Metres: 20 * 0.3048}},
		{"too high for my ladder, there are bees at the top", Command{}},
		{"unsafe", Command{Word: WordUnsafe}},
		{"COLONY 7KQ2", Command{Word: WordColony, Reference: "7KQ2"}},
		{"colony of bees in my wall", Command{}},
		{"not bees wasps", Command{Word: WordNotBees, Rest: "wasps"}},
		{"NOT BEES paper wasps", Command{Word: WordNotBees, Rest: "paper wasps"}},
		{"not bees 7KQ2 ground bees", Command{Word: WordNotBees, Reference: "7KQ2", Rest: "ground bees"}},
		{"no son abejas avispones", Command{Word: WordNotBees, Rest: "avispones"}},
		{"someone else please", Command{Word: WordSomeoneElse}},
		{"tomorrow before sunrise", Command{Word: WordTomorrow}},
		{"tomorrow 18:00", Command{Word: WordTomorrow, Rest: "18:00"}},
		{"tomorrow I can show you the bees", Command{}},
		{"LATER 7KQ2 tomorrow 18:00", Command{Word: WordLater, Reference: "7KQ2", Rest: "tomorrow 18:00"}},
		{"done", Command{Word: WordDone}},
		{"SKIP ALL 7KQ2", Command{Word: WordSkipAll, Reference: "7KQ2"}},
		{"left of the gate", Command{}},
		{"HOURS Mo-Fr 17:00-21:00", Command{Word: WordHours, Rest: "Mo-Fr 17:00-21:00"}},
		{"REACH 15", Command{Word: WordReach, Rest: "15"}},
		{"reach it with a ladder", Command{}},
		{"BOX", Command{Word: WordBox}},
		{"BOX old oak, 40 L, 3 m", Command{Word: WordBox, Rest: "old oak, 40 L, 3 m"}},
		{"box of bees on the fence", Command{}},
		{"muy alto", Command{Word: WordTooHigh}},
		{"otra persona", Command{Word: WordSomeoneElse}},
		{"mañana", Command{Word: WordTomorrow}},
	} {
		got, ok := ReadCommand(c.text, s)
		if got != c.want || ok != (c.want.Word != "") {
			t.Errorf("%q: %+v, want %+v", c.text, got, c.want)
		}
	}
}

func TestArrival(t *testing.T) {
	for text, want := range map[string]string{
		"I'm here at the gate": "self", "just arrived": "self", "I am there, by the barn": "self",
		"she is here": "other", "She's here now": "other", "Ada just arrived": "other", "Ada is here": "other", "the beekeeper has arrived": "other",
		"is she here?": "", "has Ada arrived?": "", "she is not here": "", "the dog is here": "", "there is a gate": "", "I'm hereby told": "",
	} {
		if got := Arrival(text, "Ada"); got != want {
			t.Errorf("%q: %q, want %q", text, got, want)
		}
	}
}

func TestReadBaitBox(t *testing.T) {
	b, ok := ReadBaitBox("old oak by the barn, 40 L, 10 ft, 2 in2, lure")
	if !ok || b.Place != "old oak by the barn" || b.VolumeL != 40 || b.HeightM < 3.04 || b.HeightM > 3.05 || b.EntranceCm2 < 12.9 || b.EntranceCm2 > 12.91 || !b.Lured {
		t.Errorf("%+v %v", b, ok)
	}
	if _, ok := ReadBaitBox("by the barn, nothing measured"); ok {
		t.Error("a box without a measure is none")
	}
}
