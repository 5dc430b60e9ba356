package main

import (
	"bytes"
	"encoding/json"
	"strings"
	"testing"
)

// FuzzWeigh holds that weigh answers every text and every file of answers: JSON that adds up,
// or one line that says what is wrong; it never breaks.
func FuzzWeigh(f *testing.F) {
	for _, seed := range []string{
		"a ball of bees on my apple tree", `{"shape":"paper_ball","month":8}`, `{"stings":-1}`, `{"latitude":1e999}`,
		"", "\x00\xff", "14 Mill Ln 42.44,-76.5", `{"age_h":8784,"height_m":100,"hazards":["blocked_door","road"]}`, "avispas en el suelo, se hincha la cara",
	} {
		f.Add(seed, seed != "" && seed[0] == '{', "2026-08-11T16:00")
	}
	f.Fuzz(func(t *testing.T, text string, answers bool, at string) {
		var out, errs bytes.Buffer
		term := &terminal{in: strings.NewReader(text), out: &out, errs: &errs, getenv: func(string) string { return "" }}
		w := weighCmd{Text: text, At: at}
		if at == "" {
			t.Skip("now is no input")
		}
		if answers {
			w = weighCmd{Answers: "-", At: at}
		}
		if err := w.Run(term, &commands{}); err != nil {
			if out.Len() > 0 || strings.TrimSpace(err.Error()) == "" {
				t.Errorf("an error %q and output %q", err, out.String())
			}
			return
		}
		var said weighed
		if err := json.Unmarshal(out.Bytes(), &said); err != nil {
			t.Fatalf("not JSON: %v", err)
		}
		sum := 0.0
		for _, k := range said.Assessment.Kinds {
			sum += k.P
		}
		if sum < 1-1e-9 || sum > 1+1e-9 || said.Assessment.Route == "" || len(said.Assessment.Advice) == 0 {
			t.Errorf("the kinds sum to %g, the route is %q", sum, said.Assessment.Route)
		}
	})
}
