// Package triage turns Answers into an Assessment: how likely each kind of insect is, how
// pressing it is, what happens with the report and what people are told first. It also
// knows how long a swarm stays and when the sun sets. Start at Assess; NextQuestion says what
// is still worth asking.
//
// It is pure: no I/O, no clock. Every number stands in a data file with its source or the
// word judgement.
package triage
