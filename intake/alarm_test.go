package intake

import (
	"flag"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

var learn = flag.Bool("learn", false, "learn the weights of the alarm anew from testdata/utterances")

// alarmTexts returns the texts from which the alarm is learned: those that must raise it and
// those that must not. Sets kept for measuring are not among them.
func alarmTexts(t *testing.T) (alarms, others []string) {
	for _, set := range []string{".txt", "_others.txt", "_likely.txt", "_many.txt", "_more.txt"} {
		alarms, others = append(alarms, oneALine(t, "emergencies"+set)...), append(others, oneALine(t, "near_misses"+set)...)
	}
	others = append(others, oneALine(t, "near_misses_talk.txt")...)
	others = append(others, oneALine(t, "near_misses.txt")...) // once more: the short and plain ones
	for _, file := range []string{"tuned.txt", "third.txt", "fourth.txt", "fifth.txt", "sixth.txt", "seventh.txt", "eighth.txt", "ninth.txt", "tenth.txt", "twelfth.txt", "sixteenth.txt", "seventeenth.txt", "nineteenth.txt", "twentysecond.txt", "twentythird.txt", "twentyfourth.txt", "twentysixth.txt", "unseen.txt"} {
		for _, u := range utterances(t, file) {
			if u.want["stung"] == "trouble_breathing" {
				alarms = append(alarms, u.text)
			} else {
				others = append(others, u.text)
			}
			if u.want["stung"] == "someone" || u.want["allergic"] == "yes" && u.want["stung"] == "" {
				others = append(others, u.text, u.text) // a plain sting or allergy is most like an emergency
			}
		}
	}
	alarms, others = append(alarms, emergencies...), append(others, calm...)
	for _, text := range played(t) {
		if _, alarm := emergencySign(seenKnown(text)); !alarm {
			others = append(others, text)
		}
	}
	r := rand.New(rand.NewPCG(3, 3))
	for range 200 {
		others = append(others, noise(r))
	}
	return alarms, others
}

// played returns what people say in the transcripts: catchers and stewards too.
func played(t *testing.T) (texts []string) {
	files, err := filepath.Glob("../testdata/transcripts/*.txt")
	if err != nil || len(files) == 0 {
		t.Fatal(len(files), err)
	}
	for _, file := range files {
		b, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		for line := range strings.Lines(string(b)) {
			if _, text, ok := strings.Cut(line, " > "); ok {
				texts = append(texts, strings.TrimSpace(text))
			} else if strings.Contains(line, "<~ CALL 911") && len(texts) > 0 {
				texts = texts[:len(texts)-1] // what it answers is an emergency
			}
		}
	}
	return texts
}

// noise is a text of letters at random.
func noise(r *rand.Rand) string {
	var b strings.Builder
	for range 1 + r.IntN(12) {
		for range 1 + r.IntN(9) {
			b.WriteByte(byte('a' + r.IntN(26)))
		}
		b.WriteByte(' ')
	}
	return b.String()
}

// example is a text to learn from: its pieces with their values.
type example struct {
	at    []int32
	value []float64
	alarm float64 // 1 or 0
}

func exampleOf(text string, alarm float64) example {
	e := example{alarm: alarm}
	words, letters := pieces(seen(text))
	for _, list := range [][]piece{words, letters} {
		for _, p := range list {
			e.at = append(e.at, p.hash)
			e.value = append(e.value, 1/math.Sqrt(float64(len(list))))
		}
	}
	return e
}

// learnAlarm fits a logistic regression with a small penalty on large weights, by stochastic
// gradients with a step for each weight (J. Duchi et al., Adaptive Subgradient Methods, 2011).
// It is the mean of several, each of which sees the texts in another order, so that one text
// more does not change what is heard of others. The last weight is the bias. It is the same at
// every run.
func learnAlarm(examples []example) []float64 {
	const orders = 8
	mean := make([]float64, 2<<alarmBits+1)
	for order := range uint64(orders) {
		for i, w := range learnInOrder(examples, rand.New(rand.NewPCG(5, order))) {
			mean[i] += w / orders
		}
	}
	return mean
}

func learnInOrder(examples []example, r *rand.Rand) []float64 {
	const epochs, rate = 10, 0.5 // few: it is to know what is like the texts, not the texts
	penalty := 1 / (5 * float64(len(examples)))
	weights, slope := make([]float64, 2<<alarmBits+1), make([]float64, 2<<alarmBits+1)
	bias := len(weights) - 1
	for range epochs {
		for _, i := range r.Perm(len(examples)) {
			e := examples[i]
			odds := weights[bias]
			for j, at := range e.at {
				odds += weights[at] * e.value[j]
			}
			wrong := 1/(1+math.Exp(-odds)) - e.alarm
			move := func(at int32, value float64) {
				g := wrong*value + penalty*weights[at]
				slope[at] += g * g
				weights[at] -= rate * g / math.Sqrt(slope[at]+1e-8)
			}
			for j, at := range e.at {
				move(at, e.value[j])
			}
			move(int32(bias), 1)
		}
	}
	return weights
}

// TestAlarmWeights learns the weights anew and holds that they are those of the file. With
// -learn it writes them: after texts were added, and then the figures of the sets that nobody
// learns from are to be looked at.
func TestAlarmWeights(t *testing.T) {
	alarms, calm := alarmTexts(t)
	var examples []example
	for _, text := range alarms {
		examples = append(examples, exampleOf(text, 1))
	}
	for _, text := range calm {
		examples = append(examples, exampleOf(text, 0))
	}
	weights := learnAlarm(examples)
	bytes, clipped := make([]byte, len(weights)), 0
	for i, w := range weights {
		steps := math.Round(w / alarmStep)
		if math.Abs(steps) > 127 {
			steps = math.Copysign(127, steps)
			clipped++
		}
		bytes[i] = byte(int8(steps))
	}
	t.Logf("%d alarms, %d others; %d weights clipped", len(alarms), len(calm), clipped)
	if *learn {
		if err := os.WriteFile("reading/alarm.weights", bytes, 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	if len(alarmWeights) != len(bytes) {
		t.Fatalf("the file holds %d weights, want %d: run go test ./intake -run AlarmWeights -learn", len(alarmWeights), len(bytes))
	}
	far := 0
	for i := range bytes {
		if d := int(int8(bytes[i])) - int(int8(alarmWeights[i])); d < -1 || d > 1 { // another processor may round otherwise
			far++
		}
	}
	if far > len(bytes)/1000 {
		t.Errorf("%d of %d weights differ from what the texts teach: run go test ./intake -run AlarmWeights -learn", far, len(bytes))
	}
}

// TestAlarmAlone measures the learned ear without the rules, on texts that it did not learn from.
func TestAlarmAlone(t *testing.T) {
	for _, file := range []string{"emergencies_unseen.txt", "near_misses_unseen.txt"} {
		heard, all := 0, oneALine(t, file)
		for _, text := range all {
			if odds, _ := alarming(seen(text)); odds > alarmBar {
				heard++
			}
		}
		t.Logf("%s: %d of %d", file, heard, len(all))
	}
}

// TestAlarmOnNoise holds that what is no language raises no alarm, however long.
func TestAlarmOnNoise(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 7))
	alarms := 0
	const texts = 2000
	for range texts {
		if Emergency(noise(r)) {
			alarms++
		}
	}
	if t.Logf("%d of %d", alarms, texts); alarms > texts/100 {
		t.Errorf("%d of %d texts of letters at random raise the alarm", alarms, texts)
	}
}
