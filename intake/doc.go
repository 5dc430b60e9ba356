// Package intake is the conversation with a caller: the questions, the reading of free
// text into Answers, the phrases that must never be missed, and the words people read.
// Start at Understand (text in, answers out) and Options (what a question offers).
//
// It never does I/O, reads no clock and scores nothing: time comes in as data, and what
// the answers mean is triage's affair.
package intake
