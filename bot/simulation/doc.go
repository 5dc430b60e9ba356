// Package simulation runs the hotline's own code — Decide, Hotline.Hear and RunTimers,
// notify.Delivery — on a clock that only it moves, with simulated people, providers and
// faults, all from one seed, and holds what must always be true.
//
//	Generate(seed)   draws a Plan: who says what and when, and what breaks
//	Run(plan)        plays it and returns a Result: the first broken promise, a diary
//	Shrink(plan)     drops steps and faults for as long as the plan still fails
//
// A plan is data. The seed only draws it, so that a failing plan can be made small, kept in
// testdata/plans and played for ever, also when the drawing has changed.
//
// The store is Memory, a bot.Store in a few maps. A differential test (bot/store) holds that
// it answers as the scripts do, on the embedded Redis and on a real one. Replicas take turns
// in one goroutine; what happens between one's load and its commit is a step that the plan
// puts there, so that every interleaving is the same the next time.
package simulation
