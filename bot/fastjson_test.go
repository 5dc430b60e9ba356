package bot

import (
	"bytes"
	"encoding/json"
	"math/rand/v2"
	"reflect"
	"strings"
	"testing"
	"time"

	fastjson "github.com/goccy/go-json"

	"skepline/notify"
)

// oddStrings are what two JSON libraries may write or read differently.
var oddStrings = []string{"", "Gwen", "14 Mill Ln <b>&amp;", "línea\nnueva\t\"quoted\" \\ back", "\u2028\u2029", "\x00\x1f\x7f", "🐝 👩‍🌾", "a\xffb\xc3", "\ufffd", "</script>", "é", "ＡＢＣ",
	strings.Repeat("bees \" 🐝 \\", 700), strings.Repeat("x", 511), strings.Repeat("é", 256)}

var oddFloats = []float64{0, 1, -1, 0.1, 2.4384, 42.446, -76.49021, 1e21, 1e-7, 1.5e300, 5e-324, 123456789.125, 1 << 53}

// fill puts anything at all into v.
func fill(r *rand.Rand, v reflect.Value, depth int) {
	switch v.Kind() {
	case reflect.String:
		v.SetString(oddStrings[r.IntN(len(oddStrings))])
	case reflect.Bool:
		v.SetBool(r.IntN(2) == 0)
	case reflect.Int, reflect.Int64:
		v.SetInt(r.Int64N(1<<40) - 1<<39)
	case reflect.Float64:
		v.SetFloat(oddFloats[r.IntN(len(oddFloats))])
	case reflect.Pointer:
		if r.IntN(3) > 0 && depth > 0 {
			v.Set(reflect.New(v.Type().Elem()))
			fill(r, v.Elem(), depth-1)
		}
	case reflect.Slice:
		if n := r.IntN(4); n > 0 && depth > 0 {
			v.Set(reflect.MakeSlice(v.Type(), n-1, n+2)) // sometimes empty and not nil
			for i := range n - 1 {
				fill(r, v.Index(i), depth-1)
			}
		}
	case reflect.Array:
		for i := range v.Len() {
			fill(r, v.Index(i), depth)
		}
	case reflect.Struct:
		if v.Type() == reflect.TypeFor[time.Time]() {
			if r.IntN(3) > 0 {
				v.Set(reflect.ValueOf(time.Unix(r.Int64N(4e9), r.Int64N(1e9)).UTC()))
			}
			return
		}
		for i := range v.NumField() {
			if v.Field(i).CanSet() {
				fill(r, v.Field(i), depth)
			}
		}
	}
}

// TestFastJSON holds the library that reads and writes documents to encoding/json: the same
// bytes of the same value, the same value of the same bytes, the same unknown fields noticed.
func TestFastJSON(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for _, of := range []reflect.Type{reflect.TypeFor[Person](), reflect.TypeFor[Call](), reflect.TypeFor[Catcher](), reflect.TypeFor[Timer](),
		reflect.TypeFor[notify.Message](), reflect.TypeFor[notify.CallCard](), reflect.TypeFor[notify.CatcherCard](), reflect.TypeFor[notify.Catcher]()} {
		compared := 0
		for range 400 {
			value := reflect.New(of)
			fill(r, value.Elem(), 4)
			want, err := json.Marshal(value.Interface())
			if err != nil {
				continue // a time of the Gregorian calendar's end, or hours that cannot be written
			}
			if got, err := fastjson.Marshal(value.Interface()); err != nil || !bytes.Equal(got, want) {
				t.Fatalf("%v is written as\n%s (%v), encoding/json writes\n%s", of, got, err, want)
			}
			slow, fast, lax := reflect.New(of), reflect.New(of), reflect.New(of)
			if err := json.Unmarshal(want, slow.Interface()); err != nil {
				continue // a random text where only some are read
			}
			strict := fastjson.NewDecoder(bytes.NewReader(want))
			strict.DisallowUnknownFields()
			if err := strict.Decode(fast.Interface()); err != nil || !reflect.DeepEqual(fast.Interface(), slow.Interface()) {
				t.Fatalf("%s is read as\n%+v (%v), by encoding/json as\n%+v", want, fast, err, slow)
			}
			if err := fastjson.Unmarshal(want, lax.Interface()); err != nil || !reflect.DeepEqual(lax.Interface(), slow.Interface()) {
				t.Fatalf("%s is read as\n%+v (%v), by encoding/json as\n%+v", want, lax, err, slow)
			}
			odd := append([]byte(`{"never":{"a":[1,"}"]},`), want[1:]...)
			strict = fastjson.NewDecoder(bytes.NewReader(odd))
			strict.DisallowUnknownFields()
			if strict.Decode(reflect.New(of).Interface()) == nil {
				t.Fatalf("an unknown field goes unnoticed in %s", odd)
			}
			compared++
		}
		if compared < 200 {
			t.Errorf("only %d of 400 values of %v could be compared", compared, of)
		}
	}
}
