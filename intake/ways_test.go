package intake

import "testing"

// TestWaysOfWriting: what people write in other ways than the books of style.
func TestWaysOfWriting(t *testing.T) {
	for _, c := range []struct{ text, asked, field, want string }{
		{"it came last Tuesday", "", "age_h", "170"},
		{"llegaron el martes pasado", "", "age_h", "170"},
		{"it came Tuesday morning", "", "age_h", "6"},
		{"came yesterday around 4", "", "age_h", "22"},
		{"showed up Monday night", "", "age_h", "17"},
		{"llegaron anoche como a las 9", "", "age_h", "17"},
		{"quarter to ten this morning they came", "", "age_h", "4.25"},
		{"como a las 11 de la mañana", "age", "age_h", "3"},
		{"swarm on the fence, kids get out at 3", "", "age_h", ""},
		{"bees on our mailbox. Thanks, Terrence", "", "name", "Terrence"},
		{"bees on our mailbox. Thanks, Oak", "", "name", ""},
		{"soy de la calle, me dicen Beto", "name", "name", "Beto"},
		{"swarm at Holloway and 3rd", "", "place", "Holloway and 3rd"},
		{"andamos en la 77 y Castor, abejas en el árbol", "", "place", "77 y Castor"},
		{"outside the Save-Rite", "", "place", "Save-Rite"},
		{"on the bumper of a van in the driveway", "", "surface", "vehicle"},
		{"in and out of a crack in the wall", "", "surface", "cavity"},
		{"bees in the fascia board of my house", "", "hazards", ""},
		{"tengo abejas adentro d mi casa", "", "hazards", "indoors"},
		{"me picaron 3 x en la mano", "", "owner", ""},
		{"my son yes, just the one", "stung", "stings", "1"},
		{"mi hija sí, a las abejas", "allergic", "allergic", "yes"},
		{"not that I know of", "allergic", "allergic", "no"},
		{"anoche como a las 9", "age", "crowd", ""},
		{"hanging off our gutter, it's a one story house", "", "height_m", "4.5"},
		{"en el parque Mission Oaks", "", "owner", "no"},
	} {
		s := quillbrook
		h := Understand(c.text, s)
		if c.asked != "" {
			h, _ = ReadAnswer(Question(c.asked), c.text, s)
		}
		if got := slots(h.Answers)[c.field]; got != c.want {
			t.Errorf("%q (asked %q): %s = %q, want %q", c.text, c.asked, c.field, got, c.want)
		}
	}
}
