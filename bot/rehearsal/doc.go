// Package rehearsal plays transcripts on the real hotline with simulated phones: the same
// decisions, commits and delivery as in production, on an embedded Redis whose clock moves
// only when a transcript says so. Start at Parse and Player.Run.
//
// It is a package of its own because the command "rehearse" and the tests need one player.
package rehearsal
