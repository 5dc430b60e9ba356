package intake

import "testing"

func TestInsult(t *testing.T) {
	for text, want := range map[string]bool{
		"fuck you": true, "you are all idiots": true, "stupid bot": true, "idiots": true, "chinga tu madre": true, "son unos pendejos": true,
		"holy shit there are bees everywhere": false, "I was stupid and sprayed them": false, "oh fuck he got stung": false,
		"the idiot next door has a swarm on his fence": false, "thank you": false, "": false,
	} {
		if got := Insult(text); got != want {
			t.Errorf("%q: %v", text, got)
		}
	}
}
