package intake

import "testing"

func TestCorrects(t *testing.T) {
	for text, want := range map[string]bool{
		"sorry its 41 Mill Ln not 14":               true,
		"no its 12 feet":                            true,
		"actually on the fence":                     true,
		"oops wrong street":                         true,
		"I meant the other side of the road":        true,
		"they moved to the neighbors tree":          true,
		"perdón, es en la calle Robles 12":          true,
		"me equivoqué, son 4 metros":                true,
		"no es el 14, es el 41":                     true,
		"se pasaron al poste":                       true,
		"the gate is open":                          false,
		"my husband will be at 20 Oak St until six": false,
		"thank you so much":                         false,
		"la puerta está abierta":                    false,
		"":                                          false,
	} {
		if got := Corrects(text); got != want {
			t.Errorf("Corrects(%q) = %v", text, got)
		}
	}
}

func TestBackAgain(t *testing.T) {
	for text, want := range map[string]bool{
		"theyre back on the fence":         true,
		"the bees came back":               true,
		"another swarm in the same tree":   true,
		"they are still there":             true,
		"otra vez hay abejas en el árbol":  true,
		"volvieron":                        true,
		"siguen ahí":                       true,
		"your brush is still by my fence":  false,
		"some bees are still around there": false,
		"I will be back at five":           false,
		"call me back please":              false,
		"gracias otra vez":                 false,
		"she wants her box back":           false,
		"":                                 false,
	} {
		if got := BackAgain(text); got != want {
			t.Errorf("BackAgain(%q) = %v", text, got)
		}
	}
}

func TestWantsPerson(t *testing.T) {
	for text, want := range map[string]bool{
		"I want to talk to a person":      true,
		"can i speak with someone":        true,
		"real person please":              true,
		"can someone call me":             true,
		"quiero hablar con una persona":   true,
		"¿me pueden llamar?":              true,
		"is this a real person":           false,
		"there is a person allergic here": false,
		"someone got stung":               false,
		"can someone come and get them":   false,
		"hay una persona picada":          false,
		"":                                false,
	} {
		if got := WantsPerson(text); got != want {
			t.Errorf("WantsPerson(%q) = %v", text, got)
		}
	}
}
