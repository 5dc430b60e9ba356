package simulation

// Shrink drops steps and faults of a failing plan for as long as it still breaks the same
// promise, by delta debugging (Zeller, Hildebrandt, "Simplifying and Isolating
// Failure-Inducing Input", IEEE TSE 2002). budget bounds the number of runs.
func Shrink(plan Plan, mutant Mutant, budget int) Plan {
	promise := promiseOf(Run(plan, mutant).Broken)
	if promise == "" {
		return plan
	}
	plan.Seed = 0
	fails := func(p Plan) bool {
		budget--
		return budget >= 0 && promiseOf(Run(p, mutant).Broken) == promise
	}
	for size := -1; size != len(plan.Steps)+len(plan.Faults); {
		size = len(plan.Steps) + len(plan.Faults)
		plan.Faults = fewer(plan.Faults, func(f []Fault) bool { p := plan; p.Faults = f; return fails(p) })
		plan.Steps = fewer(plan.Steps, func(s []Step) bool { p := plan; p.Steps = s; return fails(p) })
	}
	if one := plan; one.Replicas > 1 {
		if one.Replicas = 1; fails(one) {
			plan = one
		}
	}
	return plan
}

// promiseOf returns the name of a broken promise: "I6".
func promiseOf(broken string) string {
	for i, r := range broken {
		if r == ':' {
			return broken[:i]
		}
	}
	return broken
}

// fewer returns a smaller list that still fails: it leaves out chunks, ever smaller ones.
func fewer[T any](all []T, fails func([]T) bool) []T {
	for chunk := (len(all) + 1) / 2; chunk > 0; chunk /= 2 {
		for from := 0; from < len(all); {
			to := min(from+chunk, len(all))
			rest := append(append([]T{}, all[:from]...), all[to:]...)
			if fails(rest) {
				all = rest
			} else {
				from = to
			}
		}
	}
	return all
}
