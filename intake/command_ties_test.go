package intake

import "testing"

func TestReadTies(t *testing.T) {
	for text, want := range map[string]Ties{
		"SPLIT 7KQ2": {One: "7KQ2"}, "split 7kq2.": {One: "7KQ2"}, "JOIN 7KQ2 4DM8": {true, "7KQ2", "4DM8"},
		"join 7kq2 with 4dm8": {true, "7KQ2", "4DM8"}, "separa 7KQ2": {One: "7KQ2"}, "UNE 7KQ2 y 4DM8": {true, "7KQ2", "4DM8"},
		"SPLIT": {}, "JOIN 7KQ2": {}, "join us 7KQ2 today": {}, "JOIN Jx3kT0aZr8LqVb2mYd9HcA": {}, "split the log 7KQ2": {}, "split rail fence": {},
	} {
		if got, ok := ReadTies(text); got != want || ok != (want != Ties{}) {
			t.Errorf("%q reads as %+v, %v; want %+v", text, got, ok, want)
		}
	}
}

func TestReadNew(t *testing.T) {
	for text, want := range map[string]string{
		"NEW ball of bees on a mailbox, 3 Oak St": "ball of bees on a mailbox, 3 Oak St", "new: bees at 3 Oak St": "bees at 3 Oak St",
		"nuevo enjambre en 3 Oak St": "enjambre en 3 Oak St", "NEW": "", "newer bees": "", "a new swarm": "", "": "",
	} {
		if got, ok := ReadNew(text); got != want || ok != (want != "") {
			t.Errorf("%q: %q, %v; want %q", text, got, ok, want)
		}
	}
}
