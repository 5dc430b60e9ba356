package plots

import (
	"bytes"
	"strings"
	"testing"
)

// Every way to ask has its name in the picture, and the paces are joined.
func TestTradeoffsNameEveryPoint(t *testing.T) {
	d, err := Tradeoffs("a season", []Tradeoff{
		{"gentle", 5, 0.90, 0.003, Ours}, {"normal", 7, 0.91, 0.003, Ours}, {"ask everybody", 36, 0.86, 0.004, Rival}, {"knows the future", 0.9, 0.94, 0.002, Seeing},
	})
	if err != nil {
		t.Fatal(err)
	}
	var svg bytes.Buffer
	if err := d.Write(&svg, "svg"); err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"gentle", "normal", "ask everybody", "knows the future", "without the hotline", ">32<", ">1<"} {
		if !strings.Contains(svg.String(), name) {
			t.Errorf("%q is not in the picture", name)
		}
	}
	if _, err := Tradeoffs("nothing", nil); err != nil {
		t.Error(err)
	}
}
