package intake

import "testing"

// TestComposedSigns: the same words are an alarm or none by whom they are told of, whether
// somebody was stung, and when.
func TestComposedSigns(t *testing.T) {
	for _, c := range []struct {
		text  string
		alarm bool
	}{
		{"he went limp", true}, {"the branch went limp", false},
		{"she got stung and is shaking", true}, {"the ladder is shaking", false}, {"I'm so scared I'm shaking, nobody was stung", false},
		{"stung on the hand and my hand is numb", false}, {"stung on the hand and her face is numb", true},
		{"he's on the porch all gray and sweaty", true}, {"the porch is gray", false},
		{"my baby got stung", true}, {"my baby is asleep, I got stung once", false}, {"my toddler got stung but he's fine, playing again", false},
		{"I'm allergic and one just got me", true}, {"she is allergic to bee stings", false},
		{"stung 8 times, I'm ok", false}, {"stung about 20 times", true}, {"yes, like 30 times", true}, {"I called 30 times", false},
		{"he passed out in 2009 from a sting, nobody stung now", false}, {"he passed out in 2009 from a sting and it is happening again now", true},
		{"if she gets stung her throat closes", false}, {"she got stung and her throat closes", true},
		{"lol my heart stopped when I saw them", false},
		{"my dad fell off the ladder", true},
		{"he got zapped by the power line", true}, {"somebody is pouring gasoline on them with a lighter", true},
		{"le picaron y ahora anda como borracho", true}, {"mi hijo se puso flojito", true}, {"la rama se puso blanca", false},
		{"le picó a mi bebé", true}, {"le picó a mi bebé pero está bien, jugando", false},
		{"mi papá vomita", true},
	} {
		if got := Emergency(c.text); got != c.alarm {
			t.Errorf("Emergency(%q) = %v %s", c.text, got, why(c.text))
		}
	}
}
