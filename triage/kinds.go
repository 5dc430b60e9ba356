package triage

import "slices"

// Kinds lists the eleven kinds in the order of the columns of weights.toml. How each looks
// to somebody who stands back:
//
//	honey_bee_swarm   a solid ball or beard of fuzzy brown bees hanging on something; no nest, no hole
//	honey_bee_colony  steady two-way traffic at one gap in a wall, a roof, a tree
//	exposed_comb      sheets of wax, white to brown, covered with bees, in the open
//	bumble_bee        a few big furry bees in and out of one hole
//	carpenter_bee     round holes in bare wood, sawdust, a shiny black abdomen
//	ground_bee        many holes in bare soil or lawn, one bee each
//	yellowjacket      fast traffic of smooth yellow-and-black wasps at one hole
//	paper_wasp        an open umbrella of paper cells on one stalk, slender wasps
//	aerial_hornet     a closed papery football in a tree, a hole low on it
//	european_hornet   large, red-brown and yellow, a brown papery nest in a hollow, flies at night
//	foragers          many insects on flowers or at water, no nest
var Kinds = []Kind{
	HoneyBeeSwarm, HoneyBeeColony, ExposedComb, BumbleBee, CarpenterBee, GroundBee,
	Yellowjacket, PaperWasp, AerialHornet, EuropeanHornet, Foragers,
}

// HoneyBee reports whether k is honey bees that somebody of ours may deal with: a swarm, a
// colony, or comb in the open.
func (k Kind) HoneyBee() bool {
	return k == HoneyBeeSwarm || k == HoneyBeeColony || k == ExposedComb
}

// Wasp reports whether k is a wasp or a hornet.
func (k Kind) Wasp() bool {
	return k == Yellowjacket || k == PaperWasp || k == AerialHornet || k == EuropeanHornet
}

// group says in whose words a caller is turned elsewhere.
type group string

const (
	wasps    group = "wasps"    // keep away; pest control, or leave till frost
	gentle   group = "gentle"   // bumble, carpenter and ground bees: leave them in peace
	foragers group = "foragers" // nothing to collect
)

func (k Kind) group() group {
	switch {
	case k.HoneyBee():
		return ""
	case k.Wasp():
		return wasps
	case k == Foragers:
		return foragers
	}
	return gentle
}

// chances holds one number for each kind, in the order of Kinds.
type chances [11]float64

// of returns the number for k.
func (c chances) of(k Kind) float64 { return c[slices.Index(Kinds, k)] }

// times multiplies column by column.
func (c chances) times(d chances) chances {
	for i := range c {
		c[i] *= d[i]
	}
	return c
}

// dot returns the sum of the products: an expectation, when c sums to 1.
func (c chances) dot(d chances) float64 {
	var sum float64
	for i := range c {
		sum += c[i] * d[i]
	}
	return sum
}

// normal returns c scaled to sum to 1.
func (c chances) normal() chances {
	var sum float64
	for _, v := range c {
		sum += v
	}
	for i := range c {
		c[i] /= sum
	}
	return c
}

// ours returns the chance of honey bees of any form.
func (c chances) ours() float64 { return c.sumOf(Kind.HoneyBee) }

// wasps returns the chance of wasps or hornets.
func (c chances) wasps() float64 { return c.sumOf(Kind.Wasp) }

func (c chances) sumOf(in func(Kind) bool) float64 {
	var sum float64
	for i, k := range Kinds {
		if in(k) {
			sum += c[i]
		}
	}
	return sum
}
