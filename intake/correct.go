package intake

// Corrects reports whether text puts right what was said before: "actually it's at …", "sorry,
// 41 not 14", "me equivoqué". Which words do is in reading/*.toml. What it puts right is for
// Understand to read.
func Corrects(text string) bool {
	ts := tokens(text)
	grammar.know(ts)
	return correcting(ts)
}

func correcting(ts []token) bool {
	for i := range ts {
		if i > 0 && ts[i].kind == aNumber && (ts[i-1].text == "not" || ts[i-1].text == "no") {
			return true // "41 not 14"
		}
	}
	return len(grammar.find("correction", ts)) > 0
}

// BackAgain reports whether text tells that bees which had left are there (again): "they're
// back on the fence", "otra vez hay abejas". Which words do is in reading/*.toml.
func BackAgain(text string) bool {
	ts := tokens(text)
	grammar.know(ts)
	return len(grammar.find("again", ts)) > 0
}

// WantsPerson reports whether text asks for somebody to talk to: "can I talk to a person",
// "quiero hablar con alguien". Which words do is in reading/*.toml.
func WantsPerson(text string) bool {
	ts := tokens(text)
	grammar.know(ts)
	return len(grammar.find("person", ts)) > 0
}
