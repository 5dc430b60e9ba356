package notify

import "time"

// Catcher is what the roster knows of one volunteer. It changes slowly; what changes by
// the hour is on the CatcherCard.
type Catcher struct {
	ID         string  `json:"id"`             // made from the name, unique in the roster: "ada", "ada-2"
	Name       string  `json:"name"`           // first name, as others may read it
	Address    Address `json:"address"`        // "" until the invitation is used
	Also       Address `json:"also,omitempty"` // a second address, for when the first does not work
	Lat        float64 `json:"lat"`            // home, degrees north
	Lon        float64 `json:"lon"`            // home, degrees east
	ReachKm    float64 `json:"reach_km"`
	MaxHeightM float64 `json:"max_height_m"`
	Skills     []Skill `json:"skills,omitempty"`
	Hours      string  `json:"hours,omitempty"` // opening-hours text, empty = always
	Language   string  `json:"language,omitempty"`
	JobsADay   int     `json:"jobs_a_day"` // calls taken on one day at most

	Kit     []string `json:"kit,omitempty"`      // what they own, as intake.ReadKit names it; empty = never told
	LadderM float64  `json:"ladder_m,omitempty"` // its length, 0 = not told
}

// Skill is something not every catcher can do.
type Skill string

// The skills.
const (
	Ladder Skill = "ladder" // has one and uses it
	Cutout Skill = "cutout" // removes colonies from structures
	Suit   Skill = "suit"   // full suit
)

// Board is a snapshot of how things stand: one small card per open call and per catcher.
// It may be a moment old; promises are checked against documents, never against it.
type Board struct {
	Calls    map[string]CallCard    // by call id
	Catchers map[string]CatcherCard // by catcher id
	Club     *Club                  // how the club does; nil = it is summed up from the roster
}

// Club is how a club does as a whole.
type Club struct {
	MeanJobs float64 // calls taken in eight weeks, a catcher
	Usual    Usual
	Strain   float64 // what raises the price of asks; 1 = rested
}

// ClubOf sums a club up.
func ClubOf(board Board, roster []Catcher, now time.Time) Club {
	return Club{meanJobs(roster, board, now), usual(board, roster), strain(board, roster, now)}
}

// club returns how the club does.
func (b Board) club(roster []Catcher, now time.Time) Club {
	if b.Club != nil {
		return *b.Club
	}
	return ClubOf(b, roster, now)
}

// CallCard is one open call on the board.
type CallCard struct {
	Reference string    `json:"ref"`
	Stage     string    `json:"stage"`
	Held      string    `json:"held,omitempty"`   // the reason, while a steward must look
	Place     string    `json:"place,omitempty"`  // area words, no address
	Holder    string    `json:"holder,omitempty"` // catcher id
	Opened    time.Time `json:"opened"`
	Next      time.Time `json:"next"` // its next timer
	AsksOut   int       `json:"asks"` // open offers

	// Where it is, to find reports of the same swarm; PrecisionM 0 = not known.
	Lat        float64 `json:"lat,omitempty"`
	Lon        float64 `json:"lon,omitempty"`
	PrecisionM float64 `json:"precision_m,omitempty"`
}

// CatcherCard is one catcher on the board.
type CatcherCard struct {
	AwayUntil time.Time   `json:"away,omitzero"`      // OUT until then
	Busy      bool        `json:"busy,omitempty"`     // on the way or at a swarm (a box waiting for dusk does not count)
	Kept      bool        `json:"kept,omitempty"`     // the fallback of a call
	Today     []time.Time `json:"today,omitempty"`    // when calls were taken, last eight weeks (see JobsKept)
	LastAsk   time.Time   `json:"last_ask,omitzero"`  // when last asked
	OpenAsk   string      `json:"open_ask,omitempty"` // the call of the open offer, if any
	Asks      []time.Time `json:"asks,omitempty"`     // asks of the last 21 days that led to no job
	Stand     Stand       `json:"stand,omitzero"`     // where they are, when not at home
	Habits    Habits      `json:"habits,omitzero"`    // how they answer
}
