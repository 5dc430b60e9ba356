package notify

import (
	"cmp"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"time"

	"skepline/intake"
)

// World is what a simulated season is drawn from. The numbers of DefaultWorld are judgement
// unless a source is named; none is measured at a hotline.
type World struct {
	Club                    OwnClub // the zero value = an invented one
	Catchers, Reports, Days int     // Catchers are drawn, beside those of Club
	WidthKm, HeightKm       float64
	StayHours               float64 // mean stay after a report, in dry hours from 9 to 18
	StayShape               int     // 1 = exponential; 2 = the sum of two
	WillingYes, WillingNo   float64 // Beta distribution of a catcher's chance of a yes, nearby and free
	HalfwayKm               float64 // of road, where half of it is left
	ReplyMinutes            float64 // median; lognormal with ReplySigma
	ReplySigma              float64
	NoAloud, NoAloudAway    float64 // share of the unwilling who say so
	SeesLater               float64 // share of those away who see the ask in the next part of the day
	AtWork, AtHome, Retired float64 // free on working days 7 to 17; else; share of people for whom it is always "else"
	Declared                float64 // share of absences that the hotline knows of
	Tiring                  float64 // of each fruitless ask a week beyond two, as in exp(-Tiring*n)
	Diffusion               float64 // chance is times n^-Diffusion with n asks out
	StartsLate              float64 // share of yes that start in 1 to 4 hours; the others in about 12 minutes
	DropsOut                float64
	Detour, SpeedKmh        float64
	RainyDays               float64
	JobsADay                int
}

// DefaultWorld is the base world: Villa's mean stay of 20 hours (Ann. Entomol. Soc. Am. 97:
// 111-116, 2004) is halved, because a report comes some time after the swarm has settled and
// homeowners lose patience, too.
func DefaultWorld() World {
	return World{
		Catchers: 40, Reports: 300, Days: 84, WidthKm: 50, HeightKm: 40, StayHours: 10, StayShape: 1,
		WillingYes: 2.4, WillingNo: 1.6, HalfwayKm: 25, ReplyMinutes: 5, ReplySigma: 1.3,
		NoAloud: 0.5, NoAloudAway: 0.15, SeesLater: 0.3, AtWork: 0.4, AtHome: 0.65, Retired: 0.4,
		Tiring: 0.03, StartsLate: 0.2, DropsOut: 0.05, Detour: 1.4, SpeedKmh: 45, RainyDays: 0.25, JobsADay: 2,
	}
}

// Times in a season are minutes after the midnight it begins with.
const (
	dayMinutes = 24 * 60.0
	wakes      = 7 * 60.0
	sleeps     = 21 * 60.0
	forever    = math.MaxFloat64
)

// seasonStart is a Monday. The invented county lies on the meridian of Greenwich, so that
// the clock shows the sun's time.
var seasonStart = time.Date(2026, 4, 20, 0, 0, 0, 0, time.UTC)

func clockTime(minute float64) time.Time {
	return seasonStart.Add(time.Duration(minute * float64(time.Minute)))
}

// scene is one drawn season, the same for every policy.
type scene struct {
	World
	seed    uint64
	people  []person
	number  map[string]int // a person's place in people, by id
	reports []report
	dry     []bool // by day
}

type person struct {
	Catcher
	x, y    float64
	retired bool
	willing float64
}

type report struct {
	at, leaves float64
	x, y       float64
	needs      Needs
}

// chances is a source of chance for one thing of one season: the same whatever is asked for
// before it, and whichever policy asks.
func chances(seed uint64, what ...uint64) *rand.Rand {
	h := seed
	for _, w := range what { // splitmix64 (Steele, Lea, Flood, OOPSLA 2014)
		h += w*0x9e3779b97f4a7c15 + 0x9e3779b97f4a7c15
		h = (h ^ h>>30) * 0xbf58476d1ce4e5b9
		h = (h ^ h>>27) * 0x94d049bb133111eb
		h ^= h >> 31
	}
	return rand.New(rand.NewPCG(seed, h))
}

// The things chance decides, the first number given to chances.
const (
	ofPlaces = iota + 1
	ofPeople
	ofDays
	ofReports
	ofPresence
	ofReply
	ofMembers
)

func drawScene(w World, seed uint64) *scene {
	s := &scene{World: w, seed: seed}
	towns := s.drawTowns()
	spot := func(r *rand.Rand, inTown float64) (x, y float64) {
		town := towns[r.IntN(len(towns))]
		x, y = town[0]+4*r.NormFloat64(), town[1]+4*r.NormFloat64()
		if r.Float64() >= inTown {
			x, y = w.WidthKm*r.Float64(), w.HeightKm*r.Float64()
		}
		return min(max(x, 0), w.WidthKm), min(max(y, 0), w.HeightKm)
	}
	s.drawPeople(spot)
	days := s.drawDays()
	s.drawReports(spot, days)
	return s
}

// drawTowns draws where most people live: three towns, of a club with a roster about the homes
// of three of its catchers (judgement: they live where people live).
func (s *scene) drawTowns() [][2]float64 {
	r := chances(s.seed, ofPlaces)
	towns := make([][2]float64, 3)
	for i := range towns {
		towns[i] = [2]float64{s.WidthKm * (0.15 + 0.7*r.Float64()), s.HeightKm * (0.15 + 0.7*r.Float64())}
		if n := len(s.Club.Roster); n > 0 {
			towns[i][0], towns[i][1] = s.kilometres(s.Club.Roster[r.IntN(n)])
		}
	}
	return towns
}

func (s *scene) drawPeople(spot func(*rand.Rand, float64) (x, y float64)) {
	for i, c := range s.Club.Roster {
		r := chances(s.seed, ofMembers, uint64(i))
		p := person{Catcher: c, retired: r.Float64() < s.Retired, willing: beta(r, s.WillingYes, s.WillingNo)}
		p.x, p.y = s.kilometres(c)
		p.Lat, p.Lon = s.degrees(p.x, p.y)
		p.Address, p.JobsADay = "sms:+16075550142", cmp.Or(c.JobsADay, DefaultJobsADay) // the invitation is used, it is assumed
		s.people = append(s.people, p)
	}
	for i := range s.Catchers {
		r := chances(s.seed, ofPeople, uint64(i))
		p := person{retired: r.Float64() < s.Retired, willing: beta(r, s.WillingYes, s.WillingNo)}
		p.x, p.y = spot(r, 0.55)
		p.Catcher = Catcher{ID: fmt.Sprintf("drawn %03d", i), Address: "sms:+16075550142", ReachKm: 1000, MaxHeightM: 3, JobsADay: s.JobsADay}
		p.Lat, p.Lon = s.degrees(p.x, p.y)
		climbs := r.Float64()
		if climbs < 0.65 {
			p.MaxHeightM, p.Skills = 5, []Skill{Ladder}
		}
		if climbs < 0.26 {
			p.MaxHeightM = 9
		}
		if r.Float64() < 0.20 {
			p.Skills = append(p.Skills, Cutout)
		}
		s.people = append(s.people, p)
	}
	s.number = make(map[string]int, len(s.people))
	for i := range s.people {
		s.number[s.people[i].ID] = i
	}
}

// drawDays draws the weather and returns how many reports each day draws, in parts of all,
// summed up.
func (s *scene) drawDays() []float64 {
	r := chances(s.seed, ofDays)
	rain, sum := r.Float64() < s.RainyDays, 0.0
	upTo := make([]float64, s.Days)
	for d := range upTo {
		// Rain is followed by rain half the time; the share of rainy days stays as wanted.
		if rain {
			rain = r.Float64() < 0.5
		} else {
			rain = r.Float64() < 0.5*s.RainyDays/(1-s.RainyDays)
		}
		s.dry = append(s.dry, !rain)
		off := (float64(d) - float64(s.Days)/2) / (18.0 / 84 * float64(s.Days))
		weight := math.Exp(-off * off / 2)
		if rain {
			weight *= 0.2
		}
		sum += weight
		upTo[d] = sum
	}
	return upTo
}

func (s *scene) drawReports(spot func(*rand.Rand, float64) (x, y float64), upTo []float64) {
	for i := range s.Reports {
		r := chances(s.seed, ofReports, uint64(i))
		want := r.Float64() * upTo[len(upTo)-1]
		d, _ := slices.BinarySearch(upTo, want)
		hour := triangle(r.Float64(), 8, 12.5, 20)
		j := report{at: float64(d)*dayMinutes + hour*60}
		j.x, j.y = spot(r, 0.75)
		stay := r.ExpFloat64()
		if s.StayShape == 2 {
			stay = (stay + r.ExpFloat64()) / 2
		}
		j.leaves = s.whenScouted(j.at, stay*s.StayHours*60)
		lat, lon := s.degrees(j.x, j.y)
		height := 2.0
		switch kind := r.Float64(); {
		case kind < 0.20:
			height = 4.5
		case kind < 0.25:
			height = 8
		case kind < 0.30:
			j.needs.Cutout = true
		}
		j.needs.Place, j.needs.HeightM = intake.Place{Lat: lat, Lon: lon, PrecisionM: 15}, &height
		s.reports = append(s.reports, j)
	}
	slices.SortStableFunc(s.reports, func(a, b report) int { return int(math.Copysign(1, a.at-b.at)) })
}

// isDry reports whether bees fly on a day; after the season's end it is fair.
func (s *scene) isDry(day int) bool { return day >= len(s.dry) || s.dry[day] }

// whenScouted returns when so many minutes of scouting have gone by since from.
func (s *scene) whenScouted(from, minutes float64) float64 {
	for day := int(from / dayMinutes); ; day++ {
		opens, closes := max(from, float64(day)*dayMinutes+9*60), float64(day)*dayMinutes+18*60
		if !s.isDry(day) || closes <= opens {
			continue
		}
		if minutes <= closes-opens {
			return opens + minutes
		}
		minutes -= closes - opens
	}
}

// free reports whether somebody can answer an ask in a part of the day, as numbered by partOf.
func (s *scene) free(i, part int) bool {
	day := part / 3
	share := s.usuallyFree(i, day%7 < 5 && part%3 < 2)
	return chances(s.seed, ofPresence, uint64(i), uint64(part)).Float64() < share
}

// usuallyFree is how often somebody is free, in the hours when most people work or in others.
func (s *scene) usuallyFree(i int, atWork bool) float64 {
	if atWork && !s.people[i].retired {
		return s.AtWork
	}
	return s.AtHome
}

// knownAway reports whether they have told the hotline so.
func (s *scene) knownAway(i, part int) bool {
	r := chances(s.seed, ofPresence, uint64(i), uint64(part))
	r.Float64()
	return s.Declared > 0 && r.Float64() < s.Declared && !s.free(i, part)
}

// partOf numbers the three parts of waking days: 7 to 12, to 17, to 21.
func partOf(minute float64) int {
	day := int(minute / dayMinutes)
	switch m := minute - float64(day)*dayMinutes; {
	case m < 12*60:
		return day * 3
	case m < 17*60:
		return day*3 + 1
	}
	return day*3 + 2
}

// partBegins is when a part of the day begins.
func partBegins(part int) float64 {
	return float64(part/3)*dayMinutes + [...]float64{wakes, 12 * 60, 17 * 60}[part%3]
}

// awakeAt returns minute, or the morning after the night it falls into.
func awakeAt(minute float64) float64 {
	day := math.Floor(minute / dayMinutes)
	switch m := minute - day*dayMinutes; {
	case m < wakes:
		return day*dayMinutes + wakes
	case m >= sleeps:
		return (day+1)*dayMinutes + wakes
	}
	return minute
}

// wakingMinutes counts the minutes between two moments outside the night.
func wakingMinutes(from, to float64) float64 {
	upTo := func(m float64) float64 {
		day := math.Floor(m / dayMinutes)
		return day*(sleeps-wakes) + min(max(m-day*dayMinutes-wakes, 0), sleeps-wakes)
	}
	return upTo(to) - upTo(from)
}

// reply is what comes of one ask.
type reply struct {
	at       float64 // when it is answered; forever = never
	yes      bool
	starts   float64 // minutes from the yes to setting out
	travel   float64 // minutes
	dropsOut float64 // minutes from the yes to taking it back; forever = does not
}

// answer says what comes of asking i for j at now, when the way and their tiredness leave
// factor of their willingness. One ask a part of the day has one answer, whoever asks: so
// policies can be compared pair by pair.
func (s *scene) answer(j, i int, now, factor float64) reply {
	part := partOf(now)
	r := chances(s.seed, ofReply, uint64(j), uint64(i), uint64(part))
	wants, delay, aloud, later := r.Float64(), s.ReplyMinutes*math.Exp(s.ReplySigma*r.NormFloat64()), r.Float64(), r.Float64()
	out := reply{at: forever, starts: 12 * math.Exp(0.6*r.NormFloat64()), dropsOut: forever}
	if r.Float64() < s.StartsLate {
		out.starts = 60 + 180*r.Float64()
	}
	out.travel = 3 + 60*s.Detour*s.line(j, i)/s.SpeedKmh*math.Exp(0.2*r.NormFloat64())
	if r.Float64() < s.DropsOut {
		out.dropsOut = 10 + 30*r.Float64()
	}
	p := &s.people[i]
	road := s.Detour * s.line(j, i) / s.HalfwayKm
	out.yes = wants < p.willing/(1+road*road)*factor
	switch {
	case s.free(i, part):
		if out.yes || aloud < s.NoAloud {
			out.at = now + delay
		}
	case aloud < s.NoAloudAway:
		out.yes, out.at = false, now+delay
	case later < s.SeesLater && s.free(i, part+1):
		if out.yes || aloud < s.NoAloud {
			out.at = partBegins(part+1) + delay
		}
	}
	if out.at == forever {
		out.yes = false
	}
	return out
}

func (s *scene) line(j, i int) float64 {
	return math.Hypot(s.reports[j].x-s.people[i].x, s.reports[j].y-s.people[i].y)
}

// triangle draws from the triangular distribution.
func triangle(u, low, mode, high float64) float64 {
	if left := (mode - low) / (high - low); u < left {
		return low + math.Sqrt(u*(high-low)*(mode-low))
	}
	return high - math.Sqrt((1-u)*(high-low)*(high-mode))
}

// gamma draws from the gamma distribution of that shape, at least 1/3 (Marsaglia, Tsang, ACM
// TOMS 26:363, 2000; below 1 by their note on it).
func gamma(r *rand.Rand, shape float64) float64 {
	if shape < 1 {
		return gamma(r, shape+1) * math.Pow(1-r.Float64(), 1/shape)
	}
	d := shape - 1.0/3
	c := 1 / math.Sqrt(9*d)
	for {
		x := r.NormFloat64()
		v := 1 + c*x
		if v <= 0 {
			continue
		}
		v = v * v * v
		if math.Log(1-r.Float64()) < x*x/2+d-d*v+d*math.Log(v) {
			return d * v
		}
	}
}

func beta(r *rand.Rand, yes, no float64) float64 {
	a, b := gamma(r, yes), gamma(r, no)
	return a / (a + b)
}
