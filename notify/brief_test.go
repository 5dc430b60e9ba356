package notify

import (
	"fmt"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"github.com/BurntSushi/toml"
	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"skepline/intake"
)

var smsEN, chatEN = intake.Words{Language: "en"}, intake.Words{Language: "en", Chat: true}

// appleTree is an ordinary job in Quillbrook.
func appleTree(t testing.TB) Job {
	return Job{
		Reference: "7KQ2", Shown: 93, Sunset: clock(t, "20:14"), Dusk: clock(t, "20:47"), StillThere: 0.95,
		CallerName: "Gwen", CheckWord: "PLUM", MapLink: "https://maps.example/42.446,-76.490",
		Answers: intake.Answers{
			Shape: "hanging_cluster", Surface: "branch", Crowd: "thousands", HeightM: metresUp(2.4), Access: "side gate, dog",
			Place: &intake.Place{Lat: 42.446, Lon: -76.49, Text: "14 Mill Ln", PrecisionM: 15},
		},
	}
}

func TestOfferTextBySMS(t *testing.T) {
	far := Far{Km: 6.2, Bearing: "e"}
	for _, test := range []struct {
		why    string
		change func(*Job)
		far    Far
		others int
		metric bool
		want   string
	}{
		{"everything fits", nil, far, 2, false,
			"Swarm 7KQ2: 93% honey bees, on a branch, 8 ft up, thousands, 4 mi E. Sunset 8:14. Still there: 95%. 2 others asked. Reply TAKE or PASS. In an hour: TAKE 60."},
		{"metric units bring the 24-hour clock", nil, far, 1, true,
			"Swarm 7KQ2: 93% honey bees, on a branch, 2.5 m up, thousands, 6 km E. Sunset 20:14. Still there: 95%. 1 other asked. Reply TAKE or PASS. In an hour: TAKE 60."},
		{"several open: the answer names the call", func(j *Job) { j.Several = true }, far, 0, false,
			"Swarm 7KQ2: 93% honey bees, on a branch, 8 ft up, thousands, 4 mi E. Sunset 8:14. Still there: 95%. Reply TAKE 7KQ2 or PASS 7KQ2. In an hour: TAKE 60 7KQ2."},
		{"little is known", func(j *Job) { *j = Job{Reference: "7KQ2", Shown: 60} }, Far{Km: -1}, 0, false,
			"Swarm 7KQ2: 60% honey bees, height not known, place not on the map yet. Reply TAKE or PASS. In an hour: TAKE 60."},
		{"the danger stays, what matters least goes", func(j *Job) {
			j.Answers.Hazards, j.Several, j.Against = []string{"power_line"}, true, "seen there for three weeks"
			j.Answers.Place.Text = "14 Old Quillbrook Turnpike Rd"
		}, far, 12, false,
			"Swarm 7KQ2: 93% honey bees, power line near, on a branch, 8 ft up, thousands, 4 mi E. Still there: 95%. 12 others asked. Reply TAKE 7KQ2 or PASS 7KQ2."},
	} {
		j := appleTree(t)
		if test.change != nil {
			test.change(&j)
		}
		got := OfferText(smsEN, j, test.far, test.others, test.metric)
		if got != test.want {
			t.Errorf("%s:\n got %s\nwant %s", test.why, got, test.want)
		}
	}
}

func TestOfferTextInChat(t *testing.T) {
	j := appleTree(t)
	j.Answers.Hazards, j.Against = []string{"road", "children"}, "seen there for three weeks"
	want := `Swarm 7KQ2: 93% honey bees by what we were told.
On a branch, 8 ft up, thousands, 4 mi E of your home, Mill Ln
By a road
Children near
Still there when you come: about 95%
Against it: seen there for three weeks
Sunset 8:14
2 others are asked too.
TAKE or PASS?`
	if diff := cmp.Diff(want, OfferText(chatEN, j, Far{Km: 6.2, Bearing: "e"}, 2, false)); diff != "" {
		t.Errorf("offer (-want +got):\n%s", diff)
	}
}

func TestBriefBySMS(t *testing.T) {
	j := appleTree(t)
	j.Answers.Hazards = []string{"power_line"}
	want := Brief{
		Yours: "Yours: 7KQ2. 14 Mill Ln. Gwen, word PLUM. POWER LINE: look up; you and tools 10 ft off, no ladder or pole. " +
			"Access: side gate, dog. Best there by 7:14, sunset 8:14. Text here; the caller reads it. Map https://maps.example/42.446,-76.490 Coming in? Reply 15, 30, 45 or 60. Not you? DROP",
		Gates: "POWER LINE: look up; you and tools 10 ft off, no ladder or pole. Go only if every one holds: no wire within 10 ft of you or any tool; " +
			"you reach it from the ground; the owner said yes; somebody knows where you are. Veil on, phone on you. If not: DROP, nobody minds.",
		Kit: "Bring: box with air holes, bed sheet, bee brush, veil, gloves, tape or mesh, shears, NO ladder or pole.",
		Method: "POWER LINE: look up; you and tools 10 ft off, no ladder or pole. Sheet and box under. One sharp shake; small twigs: clip, lay in, take out later. Box on the sheet. " +
			"Queen in? They walk in and fan. Out again? Wait till they cluster, try again. Leave a gap. Then BOXED",
		Evening: "Fetch it 8:35-8:50 (sunset 8:14), all are home then. Close, tape or bag, leave air, drive gently. Then LIFTED. Night: cool, dark, air. " +
			"Morning: nuc on its stand, open at sunrise, comb moved in days; plain box: shake into the hive, box at the door. HIVED",
	}
	if diff := cmp.Diff(want, MakeBrief(smsEN, j, north("ada", 4), false, false)); diff != "" {
		t.Errorf("brief (-want +got):\n%s", diff)
	}
}

func TestBriefSuitsTheJob(t *testing.T) {
	climber, walker := Catcher{Skills: []Skill{Ladder, Suit}}, Catcher{}
	for _, test := range []struct {
		why     string
		catcher Catcher
		change  func(*intake.Answers)
		text    func(Brief) string
		has     []string
		hasNot  []string
	}{
		{"low: no ladder, whoever has one", climber, func(a *intake.Answers) { a.HeightM = metresUp(1.5) },
			func(b Brief) string { return b.Kit + b.Gates }, []string{"full suit", "from the ground"}, []string{"ladder", "pole"}},
		{"2.4 m with a ladder: footed, and the box on a line", climber, nil,
			func(b Brief) string { return b.Kit + b.Gates }, []string{"ladder, helper, line", "footed by a helper", "lower the box on a line"}, nil},
		{"2.4 m without one: a low step", walker, nil,
			func(b Brief) string { return b.Kit + b.Gates }, []string{"low step", "firm low step"}, []string{"ladder"}},
		{"5 m: pole from the ground, even with a ladder", climber, func(a *intake.Answers) { a.HeightM = metresUp(5) },
			func(b Brief) string { return b.Kit + b.Gates }, []string{"pole and bucket, no ladder"}, []string{"footed"}},
		{"above 6 m nobody is talked up", climber, func(a *intake.Answers) { a.HeightM = metresUp(6.5) },
			func(b Brief) string { return b.Gates + b.Method }, []string{"nobody goes up", "DROP"}, []string{"footed", "shake", "BOXED"}},
		{"a power line takes ladder and pole away", climber, func(a *intake.Answers) { a.Hazards = []string{"power_line"} },
			func(b Brief) string { return b.Kit }, []string{"NO ladder or pole"}, []string{"ladder, helper"}},
		{"a roof takes the ladder away", climber, func(a *intake.Answers) { a.Hazards = []string{"roof"} },
			func(b Brief) string { return b.Kit + b.Gates }, []string{"ROOF: stay off it.", "from the ground"}, []string{"ladder"}},
		{"height not known: from the ground", climber, func(a *intake.Answers) { a.HeightM = nil },
			func(b Brief) string { return b.Kit + b.Gates }, []string{"height not known"}, []string{"ladder"}},
		{"fence: mist and brush", walker, func(a *intake.Answers) { a.Surface = "fence" },
			func(b Brief) string { return b.Kit + b.Method }, []string{"water mister", "Mist lightly", "One quick stroke"}, []string{"shears", "shake"}},
		{"fence by a power line: no water", walker, func(a *intake.Answers) { a.Surface, a.Hazards = "fence", []string{"power_line"} },
			func(b Brief) string { return b.Kit + b.Method }, []string{"One quick stroke"}, []string{"mister", "Mist lightly"}},
		{"a ladder that is too short is none", Catcher{Skills: []Skill{Ladder}, Kit: []string{"ladder"}, LadderM: 2}, func(a *intake.Answers) { a.HeightM = metresUp(4) },
			func(b Brief) string { return b.Kit + b.Gates }, []string{"pole and bucket, no ladder"}, []string{"footed"}},
		{"a ladder that is long enough is named with its length", Catcher{Skills: []Skill{Ladder}, Kit: []string{"ladder"}, LadderM: 3.66}, func(a *intake.Answers) { a.HeightM = metresUp(4) },
			func(b Brief) string { return b.Kit + b.Gates }, []string{"ladder 12 ft, helper", "footed"}, []string{"pole"}},
		{"what they own is brought, the rest is borrowed", Catcher{Kit: []string{"nuc", "veil", "tape"}}, func(a *intake.Answers) { a.Crowd, a.HeightM = "hundreds", metresUp(1) },
			func(b Brief) string { return b.Kit }, []string{"Bring: nuc, veil, gloves, tape or mesh. Not in your kit, borrow first: bed sheet, bee brush, shears."}, []string{"box with"}},
		{"a nest in a wall: to look at, with no box and no hurry", Catcher{Skills: []Skill{Cutout}}, func(a *intake.Answers) { a.Shape, a.Surface = "gap_traffic", "wall" },
			func(b Brief) string { return b.Yours + b.Kit + b.Evening }, []string{"torch"}, []string{"box", "Best there"}},
		{"too high: nothing to bring, nothing to do, nothing to fetch", climber, func(a *intake.Answers) { a.HeightM = metresUp(9) },
			func(b Brief) string { return b.Kit + b.Method + b.Evening }, nil, []string{"i", "e"}},
		{"ground: lure and bridge", walker, func(a *intake.Answers) { a.Surface, a.HeightM = "ground", metresUp(0) },
			func(b Brief) string { return b.Kit + b.Method }, []string{"lemongrass", "bridge", "Tilt the box"}, []string{"shake", "mister"}},
		{"eave", walker, func(a *intake.Answers) { a.Surface = "eave" },
			func(b Brief) string { return b.Method }, []string{"No reach overhead"}, []string{"shake"}},
		{"in the air: wait", walker, func(a *intake.Answers) { a.Shape = "flying_cloud" },
			func(b Brief) string { return b.Method }, []string{"do not chase", "FLOWN"}, []string{"Queen", "BOXED"}},
		{"in a wall: not today", climber, func(a *intake.Answers) { a.Surface = "cavity" },
			func(b Brief) string { return b.Method }, []string{"no swarm", "in writing"}, []string{"Queen", "BOXED"}},
		{"nothing known: everything along", walker, func(a *intake.Answers) { a.Surface = "unsure" },
			func(b Brief) string { return b.Kit + b.Method }, []string{"shears", "mister", "bridge", "Look first"}, nil},
		{"somebody allergic", walker, func(a *intake.Answers) { a.Allergic = "yes" },
			func(b Brief) string { return b.Yours }, []string{"ALLERGIC person: inside first."}, nil},
		{"no address: the pin", walker, func(a *intake.Answers) { a.Place.Text = "" },
			func(b Brief) string { return b.Yours }, []string{"42.44600,-76.49000"}, nil},
		{"no place: ask", walker, func(a *intake.Answers) { a.Place = nil },
			func(b Brief) string { return b.Yours }, []string{"Ask the caller where."}, nil},
		{"nothing special about access is not worth words", walker, func(a *intake.Answers) { a.Access = "nothing special" },
			func(b Brief) string { return b.Yours }, nil, []string{"Access"}},
	} {
		j := appleTree(t)
		if test.change != nil {
			test.change(&j.Answers)
		}
		text := test.text(MakeBrief(smsEN, j, test.catcher, false, false))
		for _, has := range test.has {
			if !strings.Contains(text, has) {
				t.Errorf("%s: %q lacks %q", test.why, text, has)
			}
		}
		for _, hasNot := range test.hasNot {
			if strings.Contains(text, hasNot) {
				t.Errorf("%s: %q has %q", test.why, text, hasNot)
			}
		}
	}
}

// In every language, on every channel and for every job that can be told: no missing word,
// no SMS longer than promised, hazards before everything that is done, and nothing in an
// offer that gives the door away.
func TestTextsOfEveryJob(t *testing.T) {
	optional := func(values []string) *rapid.Generator[string] {
		return rapid.SampledFrom(append([]string{""}, values...))
	}
	rapid.Check(t, func(t *rapid.T) {
		w := intake.Words{
			Language: rapid.SampledFrom(intake.Languages()).Draw(t, "language"), Chat: rapid.Bool().Draw(t, "chat"),
		}
		j := Job{
			Reference: "7KQ2", Shown: rapid.IntRange(1, 95).Draw(t, "shown"), StillThere: rapid.Float64Range(0, 1).Draw(t, "still"),
			CallerName: rapid.SampledFrom([]string{"", "Gwen", "Maximiliano Bartolomé de la Fuente", "蜂 🐝"}).Draw(t, "name"),
			CheckWord:  "PLUM", MapLink: "https://maps.example/?q=42.44612,-76.49023", Several: rapid.Bool().Draw(t, "several"),
			Against: rapid.SampledFrom([]string{"", "visto desde hace tres semanas en el mismo lugar"}).Draw(t, "against"),
			Answers: intake.Answers{
				Surface: optional(intake.SurfaceValues).Draw(t, "surface"), Shape: optional(intake.ShapeValues).Draw(t, "shape"),
				Crowd: optional(intake.CrowdValues).Draw(t, "crowd"), Allergic: optional(intake.YesNoValues).Draw(t, "allergic"),
				Hazards: rapid.SliceOfNDistinct(rapid.SampledFrom(intake.HazardValues), 0, 7, rapid.ID).Draw(t, "hazards"),
				Access:  rapid.SampledFrom([]string{"", "side gate", strings.Repeat("perro grande, reja verde ", 20)}).Draw(t, "access"),
			},
		}
		if rapid.Bool().Draw(t, "height known") {
			j.Answers.HeightM = metresUp(rapid.Float64Range(0, 12).Draw(t, "height"))
		}
		if rapid.Bool().Draw(t, "place known") {
			j.Answers.Place = &intake.Place{Lat: 42.446, Lon: -76.49, PrecisionM: rapid.Float64Range(5, 4000).Draw(t, "precision"),
				Text: rapid.SampledFrom([]string{"", "1407 Mill Ln", "1407 Calle José María Morelos y Pavón 🏠", strings.Repeat("la casa azul del fondo ", 30)}).Draw(t, "text")}
		}
		zone := time.FixedZone("there", -4*3600)
		if rapid.Bool().Draw(t, "sunset") {
			j.Sunset = time.Date(2026, 6, 12, 20, rapid.IntRange(0, 59).Draw(t, "minute"), 0, 0, zone)
			j.Dusk = j.Sunset.Add(33 * time.Minute)
		}
		c := Catcher{Skills: rapid.SliceOfNDistinct(rapid.SampledFrom(allSkills), 0, 3, rapid.ID).Draw(t, "skills")}
		c.Kit = rapid.SliceOfNDistinct(rapid.SampledFrom([]string{"box", "nuc", "sheet", "veil", "ladder", "mist"}), 0, 6, rapid.ID).Draw(t, "kit")
		c.LadderM = rapid.SampledFrom([]float64{0, 2, 5}).Draw(t, "ladder")
		metric, clock24 := rapid.Bool().Draw(t, "metric"), rapid.Bool().Draw(t, "clock24")
		far := rapid.SampledFrom([]Far{{Km: -1}, {Km: 0.2, Bearing: "n"}, {Km: 123.4, Bearing: "sw"}}).Draw(t, "far")

		offer := OfferText(w, j, far, rapid.IntRange(0, 9).Draw(t, "others"), metric)
		checkText(t, w, "offer", offer, 1)
		if strings.Contains(offer, "1407") || strings.Contains(offer, "42.44") || strings.Contains(offer, "azul") {
			t.Fatalf("the offer gives the house away: %s", offer)
		}
		b := MakeBrief(w, j, c, metric, clock24)
		for name, text := range map[string]string{"yours": b.Yours, "gates": b.Gates, "kit": b.Kit, "method": b.Method, "evening": b.Evening} {
			if text != "" || name == "yours" || name == "gates" {
				checkText(t, w, name, text, briefSegments)
			}
		}
		if j.Answers.Has("power_line") {
			warning := w.Say("brief_hazard_power_line", map[string]any{"Clear": HeightWords(w, clearOfWireM, metric)})
			if b.Method != "" && !strings.HasPrefix(b.Method, warning) || !strings.HasPrefix(b.Gates, warning) || !strings.Contains(b.Yours, warning) {
				t.Fatalf("the power line does not come first: %+v", b)
			}
		}
	})
}

func checkText(t *rapid.T, w intake.Words, name, text string, segments int) {
	if strings.ContainsAny(text, "[]") || strings.Contains(text, "<no value>") || strings.Contains(text, "  ") {
		t.Fatalf("%s misses a word: %q", name, text)
	}
	if text == "" || utf8.RuneCountInString(text) > MaxText {
		t.Fatalf("%s has %d letters", name, utf8.RuneCountInString(text))
	}
	// A name in other letters than ours costs the alphabet, and so the room.
	if foreign := strings.ContainsRune(text, '蜂'); !w.Chat && !foreign {
		if n, gsm := Septets(text); !gsm || Segments(text) > segments {
			t.Fatalf("%s takes %d (gsm %v): %q", name, n, gsm, text)
		}
	}
}

// How, and whether the queen is in, fit into two SMS beside the two hazards that are never left
// out.
func TestMethodFitsBesideTheWorst(t *testing.T) {
	for _, language := range intake.Languages() {
		for _, surface := range append([]string{""}, intake.SurfaceValues...) {
			for _, metric := range []bool{true, false} {
				j := Job{Reference: "7KQ2", Answers: intake.Answers{Surface: surface, Hazards: []string{"power_line", "roof"}}}
				b := MakeBrief(intake.Words{Language: language}, j, Catcher{}, metric, metric)
				for _, text := range []string{b.Method, b.Gates} {
					if Segments(text) > briefSegments {
						t.Errorf("%s on %q: %q", language, surface, text)
					}
				}
			}
		}
	}
}

func TestFetchTimes(t *testing.T) {
	for _, test := range []struct{ sunset, dusk, from, to, why string }{
		{"20:14", "20:47", "20:35", "20:50", "from 20 minutes after sunset to civil dusk, on full five minutes"},
		{"20:15", "20:35", "20:35", "20:45", "near the equator: half an hour after sunset at least"},
	} {
		from, to := FetchTimes(clock(t, test.sunset), clock(t, test.dusk))
		if !from.Equal(clock(t, test.from)) || !to.Equal(clock(t, test.to)) {
			t.Errorf("%s: %v to %v", test.why, from, to)
		}
	}
	if from, to := FetchTimes(clock(t, "20:14"), time.Time{}); !from.Equal(clock(t, "20:35")) || !to.Equal(clock(t, "20:45")) {
		t.Errorf("without a dusk: %v to %v", from, to)
	}
}

// Both languages know the same keys and fill in the same data.
func TestBriefWordingIsWhole(t *testing.T) {
	read := func(language string) map[string]any {
		words := map[string]any{}
		if _, err := toml.DecodeFile("../intake/wording/brief."+language+".toml", &words); err != nil {
			t.Fatal(err)
		}
		return words
	}
	shape := func(words map[string]any) map[string]string {
		fields := map[string]string{}
		for key, text := range words {
			fields[key] = dataOf(fmt.Sprint(text))
		}
		return fields
	}
	en, es := shape(read("en")), shape(read("es"))
	if len(en) < 100 {
		t.Fatalf("only %d keys", len(en))
	}
	if diff := cmp.Diff(en, es); diff != "" {
		t.Errorf("keys and their data (-en +es):\n%s", diff)
	}
	for _, values := range []struct {
		stem string
		of   []string
	}{
		{"word_surface_", intake.SurfaceValues}, {"word_crowd_", intake.CrowdValues},
		{"word_hazard_", intake.HazardValues}, {"brief_hazard_", intake.HazardValues}, {"word_bearing_", bearings},
	} {
		for _, v := range values.of {
			if _, ok := en[values.stem+v]; !ok {
				t.Errorf("%s%s has no words", values.stem, v)
			}
		}
	}
}

// dataOf returns the data that a text fills in, each name once, in the order of the
// alphabet.
func dataOf(text string) string {
	names := ""
	for _, name := range []string{"Access", "Against", "Area", "Bearing", "Box", "Clear", "Count", "Distance", "Facts", "From",
		"Height", "Items", "Limit", "Link", "N}", "Name", "Percent", "Place", "Reference", "Sunset", "To", "Word"} {
		if strings.Contains(text, "{{."+name) {
			names += name + " "
		}
	}
	return names
}
