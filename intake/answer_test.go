package intake

import (
	"encoding/json"
	"testing"
)

func TestReadAnswer(t *testing.T) {
	for _, c := range []struct {
		q    Question
		text string
		want string // the answers as JSON; "no" = not an answer to q
	}{
		{AskStung, "1", `{"stung":"none"}`},
		{AskStung, "1 No", `{"stung":"none"}`},
		{AskStung, "No", `{"stung":"none"}`},
		{AskStung, "nope", `{"stung":"none"}`},
		{AskStung, "Nobody", `{"stung":"none"}`},
		{AskStung, "2", `{"stung":"someone"}`},
		{AskStung, "yes, but fine", `{"stung":"someone"}`},
		{AskStung, "yes", `{"stung":"someone"}`},
		{AskStung, "3", `{"stung":"trouble_breathing"}`},
		{AskStung, "3. my son", `{"stung":"trouble_breathing"}`},
		{AskStung, "yes and he feels sick", `{"stung":"trouble_breathing"}`},
		{AskStung, "1 but he can't breathe", `{"stung":"trouble_breathing"}`}, // never taken back by a number
		{AskStung, "4", `{}`},
		{AskStung, "my dog", `{"stung":"someone"}`},
		{AskStung, "no. they are by the back door", `{"stung":"none"}`},
		{AskStung, "no, my husband keeps the cat in", `{"stung":"none"}`},
		{AskStung, "no. but my husband on the arm", `{"stung":"someone"}`},
		{AskStung, "no, only me, on my arm", `{"stung":"someone"}`},
		{AskStung, "no, my son", `{"stung":"someone"}`},
		{AskStung, "no, esta a la mano derecha de la puerta", `{"surface":"wall","stung":"none"}`},
		{AskStung, "nadie", `{"stung":"none"}`},
		{AskStung, "sí, y se siente mal", `{"stung":"trouble_breathing"}`},
		{AskStung, "got me 3 times", `{"stings":3,"stung":"someone"}`},
		{AskStung, "10", "no"},
		{AskStung, "there is a ball of bees", "no"},
		{AskShape, "1", `{"shape":"hanging_cluster"}`},
		{AskShape, "two", `{"shape":"gap_traffic"}`},
		{AskShape, "opt 3", `{"shape":"paper_ball"}`},
		{AskShape, "#4", `{"shape":"open_umbrella"}`},
		{AskShape, "number 5 please", `{"shape":"soil_holes"}`},
		{AskShape, "8", `{"shape":"no_nest","surface":"flowers"}`},
		{AskShape, "9", `{"shape":"unsure"}`},
		{AskShape, "la 7", `{"shape":"flying_cloud"}`},
		{AskShape, "1, about 8 ft up", `{"shape":"hanging_cluster","height_m":2.44}`},
		{AskShape, "a ball", `{"shape":"hanging_cluster"}`},
		{AskShape, "not sure", `{"shape":"unsure"}`},
		{AskShape, "12", "no"},
		{AskShape, "why do you ask", "no"},
		{AskHeight, "2", `{"height_m":2.7}`},
		{AskHeight, "2 feet", `{"height_m":0.61}`},
		{AskHeight, "about 10", `{"height_m":3.05}`},
		{AskHeight, "12-15 feet", `{"height_m":4.12}`},
		{AskHeight, "higher", `{"height_m":8}`},
		{AskHeight, "skip", `{}`},
		{AskHeight, "dos metros y medio", `{"height_m":2.5}`},
		{AskHeight, "10'6\"", `{"height_m":3.2}`},
		{AskSurface, "1", `{"surface":"branch"}`},
		{AskSurface, "the mailbox", `{"surface":"post"}`},
		{AskAge, "1", `{"age_h":1}`},
		{AskAge, "3 hours", `{"age_h":3}`},
		{AskAge, "since yesterday", `{"age_h":26}`},
		{AskAge, "a few days", `{"age_h":72}`},
		{AskAge, "two days", `{"age_h":48}`},
		{AskCrowd, "4", `{"crowd":"thousands"}`},
		{AskCrowd, "maybe 50", `{"crowd":"tens"}`},
		{AskCrowd, "lots", `{"crowd":"thousands"}`},
		{AskAllergic, "no", `{"allergic":"no"}`},
		{AskAllergic, "my wife carries an epipen", `{"allergic":"yes"}`},
		{AskAllergic, "don't know", `{"allergic":"unknown"}`},
		{AskOwner, "yes it's mine", `{"owner":"yes"}`},
		{AskOwner, "No, the neighbor's", `{"owner":"no"}`},
		{AskOwner, "sí", `{"owner":"yes"}`},
		{AskName, "Gwen", `{"name":"Gwen"}`},
		{AskName, "gwen park", `{"name":"Gwen"}`},
		{AskName, "I'm Gwen", `{"name":"Gwen"}`},
		{AskName, "It's Gwen, thanks", `{"name":"Gwen"}`},
		{AskName, "me llamo José", `{"name":"José"}`},
		{AskName, "O'Brien", `{"name":"O'Brien"}`},
		{AskName, "Why do you need my name?", "no"},
		{AskName, "yes", "no"},
		{AskName, "2", "no"},
		{AskName, "prefer not to say", "no"},
		{AskName, "skip", `{}`},
		{AskAccess, "side gate, dog is friendly", `{"access":"side gate, dog is friendly"}`},
		{AskAccess, "nothing special", `{"access":"nothing special"}`},
		{AskAccess, "no", `{"access":"nothing special"}`},
		{AskAccess, "1", `{"access":"nothing special"}`},
		{AskAccess, "code 4711", `{"access":"code 4711"}`},
		{AskBody, "fuzzy", `{"body":"fuzzy_brown"}`},
		{AskBody, "2", `{"body":"big_furry"}`},
		{AskEntry, "just one", `{"entry":"one_hole"}`},
		{AskPhoto, "no", `{}`},
		{AskPhoto, "can't right now sorry, not sure how", `{}`},
		{AskPlace, "14 Mill Ln", `{"place":{"lat":42.444,"lon":-76.502,"text":"14 Mill Ln","precision_m":40000}}`},
		{AskPlace, "behind the old post office", `{"place":{"lat":42.444,"lon":-76.502,"text":"behind the old post office","precision_m":40000}}`},
		{AskPlace, "42.4512, -76.4821", `{"place":{"lat":42.4512,"lon":-76.4821,"text":"42.4512, -76.4821","precision_m":15}}`},
		{AskPlace, "5", "no"},
		{AskPlace, "ok", "no"},
		{AskPlace, "yes", "no"},
		{AskPlace, "nobody got stung", "no"},
		{AskPlace, "not sure", `{}`},
	} {
		h, ok := ReadAnswer(c.q, c.text, quillbrook)
		b, err := json.Marshal(h.Answers)
		if err != nil {
			t.Fatal(err)
		}
		got := string(b)
		if !ok {
			got = "no"
		}
		if !sameJSON(got, c.want) {
			t.Errorf("ReadAnswer(%s, %q) = %s, want %s", c.q, c.text, got, c.want)
		}
	}
}

func sameJSON(a, b string) bool {
	var x, y map[string]any
	if json.Unmarshal([]byte(a), &x) != nil || json.Unmarshal([]byte(b), &y) != nil {
		return a == b
	}
	p, _ := json.Marshal(x)
	q, _ := json.Marshal(y)
	return string(p) == string(q)
}

// TestNotSureAnswersEveryQuestion holds that nobody is caught in a question.
func TestNotSureAnswersEveryQuestion(t *testing.T) {
	for _, q := range []Question{AskStung, AskShape, AskPlace, AskHeight, AskSurface, AskAge, AskCrowd, AskAllergic, AskOwner, AskName, AskAccess, AskBody, AskEntry, AskPhoto} {
		for _, text := range []string{"not sure", "No idea", "I don't know", "idk", "skip", "no sé", "ni idea", "Not sure, sorry"} {
			if h, ok := ReadAnswer(q, text, quillbrook); !ok || !h.NotSure {
				t.Errorf("ReadAnswer(%s, %q) = %+v, %v", q, text, h, ok)
			}
		}
	}
}

// TestEveryOptionByNumberAndWords reads back what the wording files show.
func TestEveryOptionByNumberAndWords(t *testing.T) {
	for q, list := range options {
		for i, o := range list {
			number := string(rune('1' + i))
			h, ok := ReadAnswer(q, number, quillbrook)
			if want := o.Set(Answers{}); !ok || !sameAnswers(h.Answers, want) {
				t.Errorf("ReadAnswer(%s, %q) = %+v, %v, want %+v", q, number, h.Answers, ok, want)
			}
			for _, lang := range Languages() {
				words := Words{Language: lang, Chat: true}
				if key := "opt_" + string(q) + "_" + o.Key; words.Knows(key) {
					h, ok := ReadAnswer(q, words.Say(key, nil), quillbrook)
					if want := o.Set(h.Answers); !ok || !sameAnswers(h.Answers, want) {
						t.Errorf("ReadAnswer(%s, %q) = %+v, %v, want %+v", q, words.Say(key, nil), h.Answers, ok, want)
					}
				}
			}
		}
	}
}

func sameAnswers(a, b Answers) bool {
	x, _ := json.Marshal(a)
	y, _ := json.Marshal(b)
	return string(x) == string(y)
}
