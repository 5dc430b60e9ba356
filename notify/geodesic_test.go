package notify

import (
	"encoding/json"
	"math"
	"os"
	"testing"
)

// The sphere against the ellipsoid. A sphere of the mean radius is at most 0.56 % short or
// long of WGS 84: that much along the meridian at the equator, where it is curved most.
func TestDistanceAgainstTheEllipsoid(t *testing.T) {
	data, err := os.ReadFile("../testdata/published/geodesic_vectors.json")
	if err != nil {
		t.Fatal(err)
	}
	var vectors struct{ Far, Near [][5]float64 }
	if err := json.Unmarshal(data, &vectors); err != nil {
		t.Fatal(err)
	}
	if len(vectors.Far) != 20 || len(vectors.Near) != 90 {
		t.Fatalf("%d and %d rows; the file has lost some", len(vectors.Far), len(vectors.Near))
	}
	for _, v := range append(vectors.Far, vectors.Near...) {
		got := DistanceKm(v[0], v[1], v[2], v[3])
		if off := math.Abs(got-v[4]) / v[4]; off > 0.0057 {
			t.Errorf("%v to %v: %.4f km, on the ellipsoid %.4f, %.2f %% off", v[:2], v[2:4], got, v[4], 100*off)
		}
	}
}
