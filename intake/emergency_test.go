package intake

import "testing"

// emergencies must all be heard. One missed is a broken promise (the hotline's first).
var emergencies = []string{
	// breathing
	"my husband can't breathe", "cant breath", "he cant breathe after a bee sting", "CANT BREATHE!!!", "i cannot breath", "she is having trouble breathing",
	"trouble breathing", "trouble breating", "hard to breathe", "its hard for him to breathe", "my son is wheezing", "shes gasping for air", "short of breath",
	"shortness of breath after stings", "difficulty breathing", "he stopped breathing", "hes not breathing", "can’t breathe", "can t breathe", "heeelp cant breeeathe",
	"she cnat breathe", "he can barely breathe", "he is choking", "no he cant breathe", "No. But she has trouble breathing", "nobody is allergic but my dad cant breathe",
	"not sure but I think she cant breath right", "breathing is getting hard", "idk if he is breathing", "couldnt breathe", "no my wife has difficulty breathing",
	// swelling
	"throat closing", "his throat is closing up", "lips swelling", "my lips are swollen", "face is swollen", "her face swelled up like a balloon", "swollen tongue",
	"tongue is swelling", "swelling of the face and neck", "throat feels tight", "her eyes are swollen shut and her lips too", "got stung on the lip and its swollen",
	"my face is swelling up", "throat swolen", "my toungue is swelling", "cant swallow", "lump in my throat", "stung in the mouth", "stung inside her throat",
	// collapse and the rest
	"my daughter fainted", "he passed out", "she collapsed", "he collapsed after being stung", "unconscious", "hes unconcious", "not responding", "she is unresponsive",
	"my wife lost consciousness", "anaphylaxis", "anaphylactic shock", "going into anaphlactic shock", "allergic reaction", "having a bad reaction to the sting",
	"dizzy and throwing up after getting stung", "broke out in hives all over", "covered in hives", "we used his epipen", "need an ambulance", "feels faint", "call 911",
	"kid got stung and is vomiting", "he wont wake up", "turning blue", "The bees stung my neighbor and she's on the ground not moving", "I feel dizzy", "I think im dying",
	"breathing fine but her lips are swelling", "no wheezing but his face is swollen", "she can breathe but her throat is closing",
	// Spanish
	"no puede respirar", "no puedo respirar", "mi hijo no puede respirar bien", "le cuesta respirar", "se desmayó", "se desmayo mi esposa", "tiene la cara hinchada",
	"se le hinchó la cara", "se le hincha la garganta", "la lengua hinchada", "labios hinchados", "se le cierra la garganta", "dificultad para respirar", "le falta el aire",
	"está inconsciente", "perdió el conocimiento", "reacción alérgica", "shock anafiláctico", "no respira", "se está ahogando", "está mareada y vomitando", "necesito una ambulancia",
	"tiene ronchas en todo el cuerpo", "no responde", "se desplomó", "se me cierra la garganta", "no pude respirar", "mi niña esta ahogandose", "No, pero mi mamá no puede respirar",
	"tiene los ojos inchados", "le picó en la garganta", "llame al 911", "nadie es alergico pero le cuesta respirar",
	// from a first measurement
	"my grandpa got stung and now his tongue feels fat", "she says her chest is tight and shes dizzy", "he can't get any air", "my lips feel huge and tingly", "kid stung, lips turning blue",
	"something is wrong he got stung and just dropped to the floor and wont answer", "having a hard time catching my breath", "her whole face blew up after the sting", "she has hives everywhere and is throwing up",
	"he's wheezin real bad", "i think my throat is swelling shut", "my boyfriend blacked out", "he is having a siezure", "stung like 5 min ago now having trouble swalowing", "cant breth please hurry",
	"she needs her epi pen", "he used an epipen already", "my daughters eyes are puffed up and she coughs and cant breathe good", "lost conciousness for a min", "my sons neck is swelling",
	"mi papá se puso muy mal, casi no respira", "se le está hinchando la boca", "mi esposo no despierta", "le pico una abeja y se cayó, no reacciona", "siento que se me cierra la garganta",
	"tiene la lengua hinchadísima", "no puede tragar", "está vomitando y mareado después de la picadura", "mi hermana se desmalló", "creo que es anafilaxia",
	// from a second measurement
	"my uncle's throat is getting really tight", "she got stung in the neck and can hardly get air", "dad is on the floor, not answering me", "stung and now everything is spinning and im about to pass out",
	"his face is like twice the size", "her tongue is huge", "my kid has welts all over his body and is coughing a lot", "we think its anaphylaxsis", "he says he cant swallow his spit",
	"she went pale and sweaty after the bee got her", "help my wife isnt breathin right", "passed out in the yard after stings", "there was a swarm and my neighbor collasped", "his breathing sounds funny",
	"im having an alergic reaction", "baby is limp", "my husbands lips and eyes are swelling", "he fainted twice", "my chest hurts and I can't catch my breath", "someone is unconcious by the hive",
	"mi hijo se está poniendo morado", "tiene el labio hinchado y le cuesta tragar", "mi abuela no puede respirar vien", "le dieron muchas picaduras y se desmayó", "mi esposo está en el suelo y no responde",
	"se le inchó la cara y los ojos", "tengo la garganta cerrada", "necesitamos ambulancia ya", "me siento mareado después de los piquetes", "está convulsionando",
	// looks like Latin, is not; invisible letters between
	"саn't brеаthе", "can\u200bt breathe", "ＣＡＮＴ ＢＲＥＡＴＨＥ",
}

// calm texts must not raise the alarm.
var calm = []string{
	"nobody has trouble breathing", "no one has trouble breathing", "no trouble breathing", "breathing fine", "he is breathing fine", "she can breathe fine", "breathing is normal",
	"the bees are swelling in number", "swollen ball", "there is a swollen ball of bees", "nobody fainted", "no one passed out", "nobody collapsed", "he isnt unconscious",
	"no swelling of the face", "no face swelling", "no trouble breathing or swelling of the face", "without any trouble breathing", "she doesnt have trouble breathing", "not having trouble breathing",
	"no one is having trouble breathing", "no signs of anaphylaxis", "the branch collapsed", "the hive collapsed", "a faint buzzing", "faint smell of honey",
	"hives in the yard next door", "I keep hives", "my neighbor has hives in his yard", "got stung on the hand, it is swelling a little", "my hand is swollen", "arm swollen where he was stung",
	"its at eye level", "about face height", "hello there", "There is a swarm on my tree", "nobody is hurt", "no she is fine", "she carries an epipen", "my wife is allergic",
	"I am allergic to bees", "can't talk now, I'm at work", "i cant get close", "i cant reach it", "the bees are not moving", "they go in the mouth of the cave", "hole near my face of rock wall",
	"the swarm is the size of my head", "it takes my breath away", "dont need an ambulance", "The bees went silent", "everyone is ok", "no allergic reactions", "nobody had a reaction",
	"nadie tiene dificultad para respirar", "no tiene problemas para respirar", "respira bien", "puede respirar bien", "nadie se desmayó", "no se desmayó", "sin hinchazón en la cara",
	"no hay nadie con dificultad para respirar", "están a la altura de la cara", "no necesito ambulancia", "mi mano está hinchada", "hay un enjambre en la rama", "la rama se desplomó",
	"es alérgica a las abejas", "no le cuesta respirar", "el vecino no contesta", "1", "", "🐝",
	"The bees dropped down to the ground", "my phone is not responding", "they are shaking the branch", "big face of the cliff has a hive", "he is fine, just a sore arm", "stung on the ankle, a bit of itching",
	"its a pale yellow nest", "swarm went down into the chimney", "she got stung but no trouble breathing or anything", "nobody is hurt and no one is having a reaction", "can you talk? I cant move the car",
	"grey ball in a tree", "i cant get close enough to see", "my finger is swollen from the sting", "the fence fell over", "We are not allergic", "the lips of the hole are dark", "does your husband keep hives?",
	"the bees are all over the face of the building", "I'm in shock how many there are", "the ball is getting big and fat", "la rama se cayó al suelo", "tengo la mano hinchada", "ya no hay nadie mal",
	"nadie se siente mal", "está muy alto y no alcanzo", "mi perro está bien", "el panal está muy grande", "no hay picados", "el vecino no está",
}

func TestEmergency(t *testing.T) {
	for _, text := range emergencies {
		if !Emergency(text) {
			t.Errorf("missed: %q", text)
		}
		if got := Understand(text, quillbrook).Answers.Stung; got != "trouble_breathing" {
			t.Errorf("Understand(%q): stung = %q", text, got)
		}
	}
	for _, text := range calm {
		if Emergency(text) {
			t.Errorf("false alarm: %q", text)
		}
	}
	t.Logf("%d emergencies, %d calm texts", len(emergencies), len(calm))
}

// TestEmergencyInALongText finds the sign wherever it stands.
func TestEmergencyInALongText(t *testing.T) {
	const story = "Hi, there is a big swarm on the fence by our pool and the kids are inside now. "
	for _, text := range emergencies {
		for _, whole := range []string{story + text, text + ". " + story, text + "\n" + story} {
			if !Emergency(whole) {
				t.Errorf("missed in a story: %q", whole)
			}
		}
	}
}

// emergenciesUnseen were written after the phrases, in three batches of which the earlier two
// have moved to the lists above. First runs, before anybody looked: 25 of 30, 26 of 30 and 23
// of 25 heard. A new measure needs a new batch.
var emergenciesUnseen = []string{
	"my co-worker got stung on the neck and his airway feels blocked", "she is turning grey and not making sense", "my wifes throat swelled, shes struggling to breathe", "it's hard to get a breath in",
	"he's unconcsious", "I got stung and my heart is racing, I feel like im gonna black out", "her eyelids are swollen and she has a rash everywhere", "my dad can barely speak, his mouth is swelling",
	"he just fell over after the sting and he's not waking up", "PLEASE HURRY CANT BREATHE", "tounge swelling up", "she feels like she will faint", "wheezing really bad after 3 stings",
	"my friend had a seizure", "stung, feeling light-headed and nauseous and my throat itches", "my face and lips are tingling and puffy", "he is having an allergic reaction to the bees",
	"mi madre respira con mucha dificultad", "creo que se va a desmayar", "le cuesta mucho respirar despues de la picadura", "mi niño tiene la cara toda hinchada", "se quedó sin aire",
	"esta teniendo una reaccion muy fuerte", "no puede hablar y tiene la lengua hinchada", "perdio la conciencia",
}

// TestEmergencyUnseen keeps the last batch: a small miss here is a warning, more is a fault.
// calmUnseen are the like for false alarms.
var calmUnseen = []string{
	"my dad is on the porch watching them", "the kids are on the ground floor", "my husband says theyre on the ground", "she says they are big and fat", "grey nest on the face of the barn", "my boy was stung on the knee but he is playing again",
	"bees went over the house", "I am shaking the tree?", "hope nobody gets hurt", "we are all breathing easy now", "its on the neck of the drainpipe", "they went down the chimney", "please answer", "I will pass on that", "nobody fell ill",
	"my mom said the swarm fell onto the lawn", "my throat is fine", "the mouth of the jar", "mi papá dice que están en el suelo", "el nido es grande y gris", "están en la boca del tubo", "mi hermana está en la casa", "a mi hija le picó en la mano y ya está jugando", "se cayó el panal", "no pasa nada, todos bien",
}

func TestEmergencyUnseen(t *testing.T) {
	missed := 0
	for _, text := range emergenciesUnseen {
		if !Emergency(text) {
			missed++
			t.Logf("missed: %q", text)
		}
	}
	t.Logf("%d of %d unseen emergencies missed", missed, len(emergenciesUnseen))
	alarms := 0
	for _, text := range calmUnseen {
		if Emergency(text) {
			alarms++
			t.Logf("false alarm: %q", text)
		}
	}
	t.Logf("%d of %d unseen calm texts raised the alarm", alarms, len(calmUnseen))
	if missed > 1 {
		t.Errorf("%d of %d unseen emergencies missed", missed, len(emergenciesUnseen))
	}
}

// TestCalmHidesNoAlarm holds that what calms of one thing (a gate, a nest, a floor) does not calm
// of a person, in sentences that run on. The ear does not learn from these, so that the phrases
// must hear them or leave them to it.
func TestCalmHidesNoAlarm(t *testing.T) {
	for _, text := range []string{
		"bees are on her back help", "bees on his stroller with the baby in it", "bees are on my head",
		"stung by bees will i die", "hes dying bees stung him", "im dying bees everywhere", "covered in hives getting attacked by bees",
		"are the bees going to kill us we are trapped in the car", "the bees got him he got 100 stings will the stings kill him",
		"found him on the ground after the bees", "found my husband on the floor, bees all round him",
		"my coworker got stung and keeps going in and out", "grandma was stung and is going in and out",
		"se esta muriendo lo picaron las abejas", "le cayo un enjambre en la cabeza a mi hijo", "a mi papa le cayo un enjambre encima y lo estan picando",
		"lo picaron y no puede tragar, tiene la epinefrina",
		"hive got attacked by my son and he is covered in stings cant breathe", "dog got stung and now my wife is swelled up all over",
		"called 911 they told us to wait he cant breathe", "las avispas atacan de noche a mi papa lo estan picando",
		"le picaron y su cara se le puso roja y no respira bien",
		"he swelled up on his face and neck after the sting", "she swelled up around her eyes after the bee", "my dad hit the hive and got attacked by bees",
		"stung and we are in the emergency room", "me picaron y no veo bien", "la pico una abeja y no veo nada dice", "lo picaron y esta blanca la cara",
		"lo picaron y se puso rojo el cuerpo", "la picaron por que no responde mi mama", "mi papa cayo de la rama lo picaron", "lo picaron y se desmaya cuando se para",
		"donde consigo epinefrina mi hija fue picada", "stung by bees and she is dizzy, the swarm its gone", "she cried for a minute after the sting then went floppy",
		"stung and now he is really quiet", "el senor tirado junto al panal no se mueve", "my dad passed away from bee stings just now",
		"my mom is swollen around the lips", "wife passed in the kitchen after a sting she wont wake", "lo picaron y se desmaya si se levanta",
		"bees are on the kids", "bees on the kids bike and all over the kids", "3 yr old, 9 stings, swarm in sandbox", "theyre still chasing me im at the gas station", "does anyone there have an epipen",
		"no paran de picarnos", "known bee allergy and yes it did sting me", "alguien tiene epinefrina es para mi hija",
		"bees at the back door we cant get out and they are stinging us", "he was stung and he dont know who i am",
		"tiene alergia fuerte a las abejas y lo picaron", "abejas encima de la cama del bebe lo estan picando",
		"the hive fell out of the tree on my son hes covered", "she hit the hive and fell out of the tree",
		"get him to a doctor he got stung 40 times", "help us with my son he was stung and cant breathe",
		"abejas en la puerta mi mama no puede salir la estan picando", "le picaron y ya no puede hablar",
		"her head is bigger than a pumpkin after the sting", "the station said call 911 he passed out from stings",
	} {
		if !Emergency(text) {
			t.Errorf("missed: %q", text)
		}
	}
}

// To "is anyone allergic?" a "yes" tells of no sting; to "was anyone stung?" it does.
func TestEmergencyInAnAnswer(t *testing.T) {
	for _, c := range []struct {
		asked Question
		text  string
		want  bool
	}{
		{AskAllergic, "yes my daughter is allergic she has an epipen", false},
		{AskAllergic, "Yes, I am severely allergic and carry a pen", false},
		{AskAllergic, "si, mi hija es alergica", false},
		{AskStung, "yes my daughter, she is allergic", true},
		{AskStung, "si mi hija, es alergica", true},
		{AskAllergic, "yes and she was just stung", true},
		{AskAllergic, "yes. her lips are swelling", true},
		{AskAllergic, "yes she cant breathe", true},
		{AskAllergic, "yes", false},
		{AskAllergic, "yes my son is and one just got him on the neck", true},
		{AskAllergic, "yes my son is, nobody was stung", false},
		{AskAllergic, "my husband is, he carries the pen everywhere", false},
		{AskAllergic, "i am and one got me, my lips feel fat", true},
	} {
		if got := EmergencyIn(c.asked, c.text); got != c.want {
			t.Errorf("asked %q, %q: got %v, want %v", c.asked, c.text, got, c.want)
		}
		s := quillbrook
		s.Waiting = c.asked
		if heard, _ := ReadAnswer(c.asked, c.text, s); (heard.Answers.Stung == "trouble_breathing") != c.want {
			t.Errorf("asked %q, %q: read as %q", c.asked, c.text, heard.Answers.Stung)
		}
	}
}
