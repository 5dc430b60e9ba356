package intake

// Insult reports whether text is aimed at whoever reads it and says nothing else: a word of
// abuse alone, or one with a "you". Swearing at bees or out of fear ("holy shit they are
// everywhere") is none; a text that tells of bees is a report whatever else it holds.
func Insult(text string) bool {
	ts := seen(text)
	rude, you, words := false, false, 0
	for _, t := range ts {
		if t.kind != aWord {
			continue
		}
		words++
		rude = rude || rudeWords[t.text]
		you = you || youWords[t.text]
	}
	return rude && (you || words <= 2)
}

var (
	rudeWords = wordSet("fuck fucking fucker fuckers fck shithead shitheads asshole assholes bitch bitches cunt cunts dickhead moron morons idiot idiots bastard bastards stupid dumb dumbass wanker wankers " +
		"puta putas puto putos pendejo pendeja pendejos idiotas imbecil imbeciles cabron cabrones gilipollas chinga chinguen estupido estupida estupidos mierdas")
	youWords = wordSet("you u ur your yall youre yourself bot robot ustedes usted tu te eres son vete vayanse tus")
)
