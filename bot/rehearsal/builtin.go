package rehearsal

import _ "embed"

//go:embed quillbrook.txt
var quillbrook string

// BuiltIn returns the scenario that is played when no file is named: one swarm from the
// first text to the hive.
func BuiltIn() Transcript {
	t, err := Parse("the built-in quillbrook.txt", quillbrook)
	if err != nil {
		panic(err) // a test plays it, so this is a broken build
	}
	return t
}
