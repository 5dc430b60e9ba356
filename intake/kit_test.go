package intake

import (
	"math"
	"strings"
	"testing"
)

func TestReadKit(t *testing.T) {
	for _, row := range []struct {
		text, language, items string
		ladder                float64
	}{
		{"ladder 12 ft, nuc, water mist, shears", "en", "nuc shears mist ladder", 3.66},
		{"a 12-ft ladder and a box", "en", "box ladder", 3.66},
		{"stepladder, suit, bed sheet, tape, brush", "en", "sheet brush suit tape ladder", 0},
		{"pole and bucket", "en", "pole", 0},
		{"escalera de 4 m, caja, sábana, rociador", "es", "box sheet mist ladder", 4},
		{"nothing", "en", "", 0},
		{"ladder 300 ft", "en", "ladder", 0}, // nobody has one
	} {
		k, ok := ReadKit(row.text, Setting{Language: row.language})
		if got := strings.Join(k.Items, " "); got != row.items || ok != (row.items != "") || math.Abs(k.LadderM-row.ladder) > .01 {
			t.Errorf("ReadKit(%q) = %s, %.2f m, %v; want %s, %.2f m", row.text, got, k.LadderM, ok, row.items, row.ladder)
		}
	}
}

// A pound is 0.45359237 kg (the international yard and pound agreement, 1959); what a frame
// holds is judgement.
func TestReadSize(t *testing.T) {
	for _, row := range []struct {
		text, size string
		kg         float64
	}{
		{"small", "small", 0}, {"a big one", "large", 0}, {"medium", "medium", 0}, {"mediano", "medium", 0},
		{"3 lb", "medium", 1.361}, {"0.5 kg", "small", 0.5}, {"5 frames", "medium", 1.35}, {"8 to 10 frames", "large", 2.43}, {"2 libras", "medium", 0.907},
		{"500 lb", "", 0}, {"as usual", "", 0}, {"", "", 0},
	} {
		size, kg, ok := ReadSize(row.text, Setting{Language: "en"})
		if size != row.size || math.Abs(kg-row.kg) > .001 || ok != (row.size != "") {
			t.Errorf("ReadSize(%q) = %q, %.3f kg, %v; want %q, %.3f kg", row.text, size, kg, ok, row.size, row.kg)
		}
	}
}

func TestKitAndSizeCommands(t *testing.T) {
	for _, row := range []struct {
		text string
		want Command
	}{
		{"KIT", Command{Word: WordKit}},
		{"kit ladder 12 ft, nuc", Command{Word: WordKit, Rest: "ladder 12 ft, nuc"}},
		{"kit kat wrappers on the floor", Command{}},
		{"SIZE small", Command{Word: WordSize, Rest: "small"}},
		{"SIZE SMALL 7KQ2", Command{Word: WordSize, Reference: "7KQ2", Rest: "SMALL"}},
		{"size 7kq2 3 lb", Command{Word: WordSize, Reference: "7KQ2", Rest: "3 lb"}},
		{"size of a football", Command{}},
		{"FRAMES", Command{Word: WordFrames}},
		{"no frames 7KQ2", Command{Word: WordNoFrames, Reference: "7KQ2"}},
		{"SEASON", Command{Word: WordSeason}},
		{"season is late this year", Command{}},
		{"temporada", Command{Word: WordSeason}},
	} {
		got, ok := ReadCommand(row.text, quillbrook)
		if got != row.want && ok || ok != (row.want != Command{}) {
			t.Errorf("ReadCommand(%q) = %+v, %v; want %+v", row.text, got, ok, row.want)
		}
	}
}
