package triage

import (
	"time"
)

// Assessment is what triage makes of the answers. Its JSON form is stable.
type Assessment struct {
	Kinds      []KindP   `json:"kinds"`      // every kind with its probability; sums to 1, most likely first
	Likelihood float64   `json:"likelihood"` // 0 to 1: a swarm that a catcher can collect
	Urgency    int       `json:"urgency"`    // 0 to 100
	Pace       Pace      `json:"pace"`
	Route      Route     `json:"route"`
	Advice     []Advice  `json:"advice"` // what people are told, first things first, each once
	Why        []Because `json:"why"`    // what moved it most, strongest first
}

// KindP is one kind of insect at one probability.
type KindP struct {
	Kind Kind    `json:"kind"`
	P    float64 `json:"p"`
}

// Because names one fact and how much it moved the assessment: for the likelihood the
// natural logarithm of its odds ratio, for the urgency its points. Because is like
// "shape=hanging_cluster", "urgency:blocked_door" or "route:contradiction ...".
type Because struct {
	Because string  `json:"because"`
	Weight  float64 `json:"weight"`
}

// Kind is what hangs, nests or flies there.
type Kind string

// The eleven kinds.
const (
	HoneyBeeSwarm  Kind = "honey_bee_swarm"
	HoneyBeeColony Kind = "honey_bee_colony"
	ExposedComb    Kind = "exposed_comb"
	BumbleBee      Kind = "bumble_bee"
	CarpenterBee   Kind = "carpenter_bee"
	GroundBee      Kind = "ground_bee"
	Yellowjacket   Kind = "yellowjacket"
	PaperWasp      Kind = "paper_wasp"
	AerialHornet   Kind = "aerial_hornet"
	EuropeanHornet Kind = "european_hornet"
	Foragers       Kind = "foragers"
)

// Pace says how soon somebody should go.
type Pace string

// The paces.
const (
	Now       Pace = "now"
	Today     Pace = "today"
	Unhurried Pace = "unhurried"
)

// Route says what happens with a report.
type Route string

// The routes.
const (
	RouteEmergency  Route = "emergency"  // call the emergency number
	RouteOffer      Route = "offer"      // ask catchers
	RouteSpecialist Route = "specialist" // a colony in a structure or open comb: someone who does removals
	RouteRedirect   Route = "redirect"   // not honey bees, or nothing to collect
	RouteSteward    Route = "steward"    // a person must look
)

// Advice is a key of one piece of advice; its words are in the wording files
// (advice_<advice>).
type Advice string

// The advice keys.
const (
	EmergencyNumber  Advice = "emergency_number"
	StingFirstAid    Advice = "sting_first_aid"
	Allergy          Advice = "allergy"
	KeepBack         Advice = "keep_back"
	ChildrenPets     Advice = "children_pets"
	NoSpray          Advice = "no_spray"
	NoWaterHose      Advice = "no_water_hose"
	NoLadder         Advice = "no_ladder"
	TooHigh          Advice = "too_high"
	PowerLine        Advice = "power_line"
	Indoors          Advice = "indoors"
	LeaveAlone       Advice = "leave_alone"
	LicensedControl  Advice = "licensed_control"
	ReportNotifiable Advice = "report_notifiable"
	BoxStays         Advice = "box_stays"
	KeepPhoto        Advice = "keep_photo"
	DontSealHole     Advice = "dont_seal_hole"
)

// Scene is what triage must know besides the answers.
type Scene struct {
	At        time.Time // the local time of the report, in the hotline's zone
	Latitude  float64   // degrees north, used when the answers hold no place or latitude
	Longitude float64   // degrees east
	Model     *Model    // what was learned besides judgement, nil = nothing

	ManyStings  int  // stings from which on a report is pressing, 0 = that of weights.toml
	Africanized bool // Africanized bees live there
}

// weights returns the tables to weigh by.
func (s Scene) weights() *weights {
	if s.Model == nil {
		return tables
	}
	return s.Model.w
}
