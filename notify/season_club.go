package notify

import "math"

// OwnClub is a club of which the roster is known: its seasons are played with its own people,
// where they live, with their reach, skills, hours and calls a day. How willing they are and
// when they are free is drawn as for an invented club.
type OwnClub struct {
	Roster   []Catcher
	Lat, Lon float64 // the middle of its area
}

// inventedLat is where an invented club lies.
const inventedLat = 42.444

// ForClub returns w in the area of a club, radiusKm around its middle, with its roster and
// nobody drawn beside it.
func (w World) ForClub(c OwnClub, radiusKm float64) World {
	w.Club, w.Catchers = c, 0
	w.WidthKm, w.HeightKm = 2*radiusKm, 2*radiusKm
	return w
}

const kmPerDegree = earthKm * math.Pi / 180

// degrees returns where a spot of the scene is. Every scene lies on the meridian of Greenwich,
// at its true latitude, so that the clock shows the sun's time.
func (s *scene) degrees(x, y float64) (lat, lon float64) {
	lat = s.middleLat() + (y-s.HeightKm/2)/kmPerDegree
	return lat, (x - s.WidthKm/2) / (kmPerDegree * math.Cos(radians(s.middleLat())))
}

// kilometres returns where in the scene a catcher of the club lives, which may be outside its
// edges.
func (s *scene) kilometres(c Catcher) (x, y float64) {
	east := math.Remainder(c.Lon-s.Club.Lon, 360)
	return s.WidthKm/2 + east*kmPerDegree*math.Cos(radians(s.middleLat())), s.HeightKm/2 + (c.Lat-s.middleLat())*kmPerDegree
}

func (s *scene) middleLat() float64 {
	if len(s.Club.Roster) == 0 {
		return inventedLat
	}
	return s.Club.Lat
}
