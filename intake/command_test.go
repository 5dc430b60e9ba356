package intake

import (
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
)

func TestReadCommand(t *testing.T) {
	const day = 24 * time.Hour
	for _, c := range []struct {
		text string
		want Command
	}{
		{"TAKE", Command{Word: WordTake}},
		{"take", Command{Word: WordTake}},
		{" Take! ", Command{Word: WordTake}},
		{"TAKE 7KQ2", Command{Word: WordTake, Reference: "7KQ2"}},
		{"take 7kq2 please", Command{Word: WordTake, Reference: "7KQ2", Rest: ""}},
		{"Take: #7kq2", Command{Word: WordTake, Reference: "7KQ2"}},
		{"TAKE 2", Command{Word: WordTake, Rest: "2"}}, // the second of a list
		{"TAKE 60", Command{Word: WordTake, Minutes: 60}},
		{"take 7KQ2 60", Command{Word: WordTake, Reference: "7KQ2", Minutes: 60}},
		{"TAKE 90 7kq2", Command{Word: WordTake, Reference: "7KQ2", Minutes: 90}},
		{"take in an hour", Command{Word: WordTake, Minutes: 60}},
		{"I'll take it in 2 hours please", Command{Word: WordTake, Minutes: 120}},
		{"Take it in about an hour and a half", Command{Word: WordTake, Minutes: 90}},
		{"take at 5pm", Command{Word: WordTake, Minutes: 180}},
		{"take tomorrow 9:00", Command{Word: WordTake, Minutes: 19 * 60}},
		{"take 7kq2 now", Command{Word: WordTake, Reference: "7KQ2"}},
		{"tomo en una hora", Command{Word: WordTake, Minutes: 60}},
		{"Lo tomo en media hora", Command{Word: WordTake, Minutes: 30}},
		{"tomo 7kq2 a las 17:00", Command{Word: WordTake, Reference: "7KQ2", Minutes: 180}},
		{"NEXT", Command{Word: WordNext}},
		{"next 7KQ2", Command{Word: WordNext, Reference: "7KQ2"}},
		{"Next one after this", Command{Word: WordNext}},
		{"take it after this", Command{Word: WordNext}},
		{"Después de esta", Command{Word: WordNext}},
		{"lo tomo después", Command{Word: WordNext}},
		{"Take it", Command{Word: WordTake}},
		{"take please", Command{Word: WordTake}},
		{"I'll take it", Command{Word: WordTake}},
		{"PASS", Command{Word: WordPass}},
		{"pass 4dm8", Command{Word: WordPass, Reference: "4DM8"}},
		{"ETA 30", Command{Word: WordETA, Minutes: 30}},
		{"eta 7KQ2 30", Command{Word: WordETA, Reference: "7KQ2", Minutes: 30}},
		{"ETA 30 7KQ2", Command{Word: WordETA, Reference: "7KQ2", Minutes: 30}},
		{"eta in half an hour", Command{Word: WordETA, Minutes: 30}},
		{"eta 1h", Command{Word: WordETA, Minutes: 60}},
		{"ETA 14:30", Command{Word: WordETA, Rest: "14:30"}},
		{"ETA about 2:30 pm", Command{}}, // not a form we promise: asked again
		{"eta?", Command{Word: WordETA}},
		{"THERE", Command{Word: WordThere}},
		{"BOXED", Command{Word: WordBoxed}},
		{"boxed, all calm now", Command{Word: WordBoxed, Rest: "all calm now"}},
		{"LIFTED", Command{Word: WordLifted}},
		{"lifted all", Command{Word: WordLiftedAll}},
		{"LIFTED 9TR3", Command{Word: WordLifted, Reference: "9TR3"}},
		{"HIVED", Command{Word: WordHived}},
		{"Flown", Command{Word: WordFlown}},
		{"NOT BEES", Command{Word: WordNotBees}},
		{"not bees 7kq2", Command{Word: WordNotBees, Reference: "7KQ2"}},
		{"DROP", Command{Word: WordDrop}},
		{"DROP 7KQ2 truck broke down", Command{Word: WordDrop, Reference: "7KQ2", Rest: "truck broke down"}},
		{"OUT", Command{Word: WordOut}},
		{"OUT 3d", Command{Word: WordOut, Until: 3 * day}},
		{"out 5h", Command{Word: WordOut, Until: 5 * time.Hour}},
		{"out for 2 weeks", Command{Word: WordOut, Until: 14 * day}},
		{"OUT until Friday", Command{Word: WordOut, Rest: "Friday", Until: 2*day + 10*time.Hour}},
		{"out today", Command{Word: WordOut, Until: 10 * time.Hour}},
		{"IN", Command{Word: WordIn}},
		{"mine", Command{Word: WordMine}},
		{"/menu", Command{Word: WordMenu}},
		{"/menu@quillbrook_bot", Command{Word: WordMenu}},
		{"Menu please", Command{Word: WordMenu}},
		{"BACK", Command{Word: WordBack}},
		{"again", Command{Word: WordAgain}},
		{"GONE", Command{Word: WordGone}},
		{"delete my data", Command{Word: WordDelete}},
		{"BORRAR", Command{Word: WordDelete}},
		{"Borrar mis datos, por favor", Command{Word: WordDelete}},
		{"They're gone", Command{Word: WordGone}},
		{"the bees flew away", Command{Word: WordGone}},
		{"SAY 7KQ2 Please keep the dog in", Command{Word: WordSay, Reference: "7KQ2", Rest: "Please keep the dog in"}},
		{"OFFER 7KQ2 ada", Command{Word: WordOffer, Reference: "7KQ2", Rest: "ada"}},
		{"CLOSE 7KQ2", Command{Word: WordClose, Reference: "7KQ2"}},
		{"WHY 7KQ2", Command{Word: WordWhy, Reference: "7KQ2"}},
		{"why 7kq2 chidi?", Command{Word: WordWhy, Reference: "7KQ2", Rest: "chidi?"}},
		{"¿Por qué 7KQ2?", Command{Word: WordWhy, Reference: "7KQ2"}},
		{"why are they on my tree", Command{}},
		{"NEW", Command{Word: WordNew}},
		{"open", Command{Word: WordOpen}},
		{"JOIN Jx3kT0aZr8LqVb2mYd9HcA", Command{Word: WordJoin, Rest: "Jx3kT0aZr8LqVb2mYd9HcA"}},
		{"JOIN -jXvPhQgfWj7vU6MS_VHLA", Command{Word: WordJoin, Rest: "-jXvPhQgfWj7vU6MS_VHLA"}},
		{"/start -jXvPhQgfWj7vU6MS_VHLA", Command{Word: WordJoin, Rest: "-jXvPhQgfWj7vU6MS_VHLA"}},
		{"/start Jx3kT0aZr8LqVb2mYd9HcA", Command{Word: WordJoin, Rest: "Jx3kT0aZr8LqVb2mYd9HcA"}},
		{"/start", Command{Word: WordJoin}},
		{"TOMO", Command{Word: WordTake}},
		{"tomo 7kq2", Command{Word: WordTake, Reference: "7KQ2"}},
		{"PASO", Command{Word: WordPass}},
		{"Llego en 20 minutos", Command{Word: WordETA, Minutes: 20}},
		{"Ya llegué", Command{Word: WordThere}},
		{"RECOGIDA", Command{Word: WordLifted}},
		{"Recogidas todas", Command{Word: WordLiftedAll}},
		{"SE FUE", Command{Word: WordGone}},
		{"ya se fueron las abejas", Command{Word: WordGone}},
		{"Fuera 3 días", Command{Word: WordOut, Until: 3 * day}},
		{"no son abejas", Command{Word: WordNotBees}},
		{"ＴＡＫＥ", Command{Word: WordTake}}, // full-width letters

		// Reports and sentences that begin with one of our words.
		{"Take a look at these bees", Command{}},
		{"take in the view from my yard", Command{}},
		{"take 2 of them down please", Command{}},
		{"next door there is a swarm", Command{}},
		{"Next to the road", Command{}},
		{"después de la escuela hay abejas", Command{}},
		{"take care", Command{}}, // four letters behind TAKE, and no reference
		{"Take that ladder away", Command{}},
		{"there is a swarm", Command{}},
		{"There are bees in my tree", Command{}},
		{"in my yard there's a ball of bees", Command{}},
		{"In the oak", Command{}},
		{"out back there are bees", Command{}},
		{"Out by the road 2 feet up", Command{}},
		{"open the gate", Command{}},
		{"new swarm on my fence", Command{}},
		{"New", Command{Word: WordNew}},
		{"say is this the bee people", Command{}},
		{"back yard, apple tree", Command{}},
		{"back fence", Command{}},
		{"again they came back", Command{}},
		{"mine is on the fence", Command{}},
		{"drop by any time", Command{}},
		{"pass by the church and turn left", Command{}},
		{"gone are the days", Command{}},
		{"close to the road", Command{}},
		{"join us for coffee", Command{}},
		{"offer still good?", Command{}},
		{"not bees but wasps I think", Command{}},
		{"eta for the beekeeper coming?", Command{}},
		{"boxed in by traffic", Command{}},
		{"en mi casa hay un enjambre", Command{}},
		{"fuera de la casa hay abejas", Command{}},
		{"tomo fotos si quiere", Command{}},
		{"paso por la calle y las vi", Command{}},
		{"nuevo enjambre en el patio", Command{}},
		{"dentro de la pared", Command{}},
		{"se fueron al árbol de al lado", Command{}},
		{"30", Command{}}, // a bare number is the caller's to decide
		{"7KQ2", Command{}},
		{"", Command{}},
		{"👍", Command{}},
	} {
		got, ok := ReadCommand(c.text, quillbrook)
		if ok != (c.want != Command{}) || ok && got != c.want {
			t.Errorf("ReadCommand(%q), %v: %s", c.text, ok, cmp.Diff(c.want, got))
		}
	}
}

func TestBareMinutes(t *testing.T) {
	for _, c := range []struct {
		text string
		want int // -1 = none
	}{
		{"30", 30}, {"30 min", 30}, {"about 20 minutes", 20}, {"half an hour", 30}, {"1h", 60}, {"1h30", 90}, {"an hour", 60}, {"an hour and a half", 90},
		{"in 45", 45}, {"~15", 15}, {"15 mins please", 15}, {"an hour and 15 minutes", 75}, {"media hora", 30}, {"unos 20 minutos", 20}, {"una hora y media", 90},
		{"10-15", 13}, {"twenty", 20}, {"45 minutes I think", 45},
		{"2 days", -1}, {"7KQ2", -1}, {"30 bees", -1}, {"", -1}, {"soon", -1}, {"14:30", -1}, {"30 Mill Ln", -1}, {"99999999999999999999", -1},
	} {
		got, ok := BareMinutes(c.text)
		if ok != (c.want >= 0) || ok && got != c.want {
			t.Errorf("BareMinutes(%q) = %d, %v, want %d", c.text, got, ok, c.want)
		}
	}
}

func TestOptOut(t *testing.T) {
	for _, c := range []struct {
		text string
		want string
	}{
		{"STOP", "stop"}, {"stop", "stop"}, {"Stop.", "stop"}, {" STOP! ", "stop"}, {"STOPALL", "stop"}, {"UNSUBSCRIBE", "stop"}, {"cancel", "stop"},
		{"End", "stop"}, {"QUIT", "stop"}, {"revoke", "stop"}, {"OPTOUT", "stop"}, {"opt out", "stop"}, {"opt-out", "stop"}, {"stop please", "stop"},
		{"Please stop", "stop"}, {"\"STOP\"", "stop"}, {"S T O P", "stop"}, {"STOPPPP", "stop"}, {"STOP 🛑", "stop"}, {"stop texting me", "stop"},
		{"ЅТОР", "stop"},       // all Cyrillic
		{"ＳＴＯＰ", "stop"},       // full width
		{"ST\u200bOP", "stop"}, // a zero-width space inside
		{"ALTO", "stop"}, {"parar", "stop"}, {"Baja", "stop"}, {"/stop", "stop"},
		{"START", "start"}, {"unstop", "start"}, {"Start", "start"},
		{"can you stop by?", ""}, {"the STOP sign has bees", ""}, {"stop sign", ""}, {"they won't stop", ""}, {"cancel culture", ""}, {"end of the road", ""},
		{"the end of the branch", ""}, {"start at the gate", ""}, {"/start", ""}, {"/start abcdefgh", ""}, {"alto en el árbol", ""}, {"bus stop", ""}, {"yes", ""}, {"", ""}, {"GONE", ""},
		{"help", ""},
	} {
		stop, start := OptOut(c.text)
		if stop != (c.want == "stop") || start != (c.want == "start") {
			t.Errorf("OptOut(%q) = %v, %v, want %q", c.text, stop, start, c.want)
		}
	}
	for text, want := range map[string]bool{"HELP": true, "info": true, "Help!": true, "help there are bees": false, "information please": false, "": false} {
		if AsksHelp(text) != want {
			t.Errorf("AsksHelp(%q) = %v", text, !want)
		}
	}
}

func TestCourtesy(t *testing.T) {
	for _, text := range []string{"thanks", "Thank you!", "ok", "OK thank you so much!", "👍", "👍🏽", "gracias", "muchas gracias", "great", "k", "thanks Ada!", "perfect, thanks a lot 🙏", "vale, gracias", "okay great", "tysm", "ok got it"} {
		if !Courtesy(text) {
			t.Errorf("Courtesy(%q) = false", text)
		}
	}
	for _, text := range []string{"", "ok there is a swarm", "thanks bees everywhere on my fence", "30", "no", "TAKE", "great big ball of bees", "gracias pero siguen ahí", "?", "ok 2", "swarm 👍", "thanks but they left"} {
		if Courtesy(text) {
			t.Errorf("Courtesy(%q) = true", text)
		}
	}
}

func TestReadYesNo(t *testing.T) {
	for _, c := range []struct{ text, want string }{
		{"1", "yes"}, {"yes", "yes"}, {"Yes please", "yes"}, {"si", "yes"}, {"Sí", "yes"}, {"sure", "yes"}, {"claro", "yes"}, {"yep", "yes"}, {"ok", "yes"}, {"that's right", "yes"},
		{"👍", "yes"}, {"yesss", "yes"}, {"yes it is", "yes"}, {"yeah they can call me", "yes"}, {"correcto", "yes"}, {"sí, es mi casa", "yes"}, {"1.", "yes"},
		{"2", "no"}, {"no", "no"}, {"Nope", "no"}, {"not yet", "no"}, {"todavía no", "no"}, {"aún no", "no"}, {"no thanks", "no"}, {"No, it's my neighbor's", "no"}, {"👎", "no"}, {"um no", "no"},
		{"not sure", ""}, {"no idea", ""}, {"no one is allergic", ""}, {"no sé", ""}, {"maybe", ""}, {"3", ""}, {"", ""}, {"ok so there is a swarm", ""}, {"si alguien viene", ""}, {"bees", ""}, {"no problem", ""},
	} {
		yes, known := ReadYesNo(c.text)
		if known != (c.want != "") || known && yes != (c.want == "yes") {
			t.Errorf("ReadYesNo(%q) = %v, %v, want %q", c.text, yes, known, c.want)
		}
	}
}

func TestLanguage(t *testing.T) {
	for _, c := range []struct{ text, profile, current, want string }{
		{"There is a swarm on my tree", "", "", "en"},
		{"Hay un enjambre en el árbol de mi casa", "", "", "es"},
		{"Hay un enjambre en el árbol de mi casa", "en-US", "en", "es"}, // what is written outweighs the profile
		{"ES", "", "en", "es"},
		{"en", "", "es", "en"},
		{"español", "", "en", "es"},
		{"English please", "", "es", "en"},
		{"¿Habla español?", "", "en", "es"},
		{"no hablo inglés", "", "en", "es"},
		{"no", "", "en", ""},      // a word of both
		{"no", "es-MX", "", "es"}, // then the profile
		{"2", "", "", ""},
		{"ok gracias", "", "en", ""}, // one word moves nobody
		{"abejas", "", "", "es"},     // at the beginning, one that only one language has
		{"Casa Grande", "", "en", ""},
		{"Mill Ln", "", "en", ""},
		{"hola, hay abejas", "", "en", "es"},
		{"", "fr", "", ""},
		{"", "es_419", "", "es"},
		{"thanks", "", "es", ""},
	} {
		if got := GuessLanguage(c.text, c.profile, c.current); got != c.want {
			t.Errorf("GuessLanguage(%q, %q, %q) = %q, want %q", c.text, c.profile, c.current, got, c.want)
		}
	}
	for text, want := range map[string]string{"ES": "es", "español por favor": "es", "EN": "en", "in english please": "en", "there are bees, español": "", "es un enjambre": "", "": "", "en el árbol": "", "do you speak Spanish?": "es", "English": "en", "no english": "es"} {
		got, ok := LanguageSwitch(text)
		if got != want || ok != (want != "") {
			t.Errorf("LanguageSwitch(%q) = %q, %v, want %q", text, got, ok, want)
		}
	}
}
