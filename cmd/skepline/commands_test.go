package main

import (
	"bytes"
	"encoding/json"
	"maps"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"skepline/bot/standin"
)

// result is how a command line ended.
type result struct {
	code      int
	out, errs string
}

// runCommand runs a command line with an environment of these pairs.
func runCommand(t *testing.T, in string, getenv func(string) string, args ...string) result {
	t.Helper()
	var out, errs bytes.Buffer
	code := command(t.Context(), args, &terminal{strings.NewReader(in), &out, &errs, getenv})
	return result{code, out.String(), errs.String()}
}

func noEnvironment(string) string { return "" }

func write(t *testing.T, name, text string) string {
	t.Helper()
	file := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return file
}

// TestWeighSaysWhy holds that every answer can be traced to its words.
func TestWeighSaysWhy(t *testing.T) {
	r := runCommand(t, "", noEnvironment, "weigh", "--why", "--at", "2026-05-12T14:00", "--text", "ball of bees on my apple tree, 8ft up since this morning")
	var got weighed
	if err := json.Unmarshal([]byte(r.out), &got); err != nil {
		t.Fatalf("%v in %s", err, r.out)
	}
	said := map[string]string{}
	for _, w := range got.Read {
		said[w.Field] = w.Said
	}
	want := map[string]string{"shape": "ball of bees", "owner": "my apple tree", "surface": "apple tree", "height_m": "8ft", "age_h": "since this morning"}
	if !maps.Equal(said, want) {
		t.Errorf("said by %v, want %v", said, want)
	}
}

func TestWeigh(t *testing.T) {
	const answers = `{"shape":"paper_ball","stung":"none"}`
	for _, row := range []struct {
		why, in string
		args    []string
		route   string
		shape   string
		month   int
	}{
		{"a text", "", []string{"--text", report, "--at", "2026-05-12T14:00"}, "offer", "hanging_cluster", 5},
		{"answers from standard input", answers, []string{"--answers", "-", "--at", "2026-08-12T14:00"}, "redirect", "paper_ball", 8},
		{"answers from a file", "", []string{"--answers", write(t, "a.json", answers), "--at", "2026-08-12T14:00"}, "redirect", "paper_ball", 8},
		{"answers that say their month keep it", `{"shape":"paper_ball","stung":"none","month":7}`, []string{"--answers", "-", "--at", "2026-05-12T14:00"}, "redirect", "paper_ball", 7},
	} {
		r := runCommand(t, row.in, noEnvironment, append([]string{"weigh"}, row.args...)...)
		var got weighed
		if err := json.Unmarshal([]byte(r.out), &got); err != nil || r.code != 0 {
			t.Errorf("%s: exit %d, %v: %s%s", row.why, r.code, err, r.out, r.errs)
			continue
		}
		if string(got.Assessment.Route) != row.route || got.Answers.Shape != row.shape || got.Answers.Month != row.month || got.Answers.Latitude == nil {
			t.Errorf("%s: got route %s of %+v", row.why, got.Assessment.Route, got.Answers)
		}
	}
}

func TestCommandsThatRefuse(t *testing.T) {
	wrong := write(t, "hotline.toml", "units = 3\n")
	for _, row := range []struct {
		why  string
		args []string
		want string // in what is said
	}{
		{"nothing to weigh", []string{"weigh"}, "--text"},
		{"two things to weigh", []string{"weigh", "--text", "a", "--answers", "-"}, "--answers"},
		{"a time that is none", []string{"weigh", "--text", "a", "--at", "noon"}, `--at "noon" is not a time; write one such as 2026-05-12T14:00`},
		{"a language without words", []string{"weigh", "--text", "a", "--lang", "fr"}, "allowed are en, es"},
		{"answers that are none", []string{"weigh", "--answers", write(t, "a.json", `{"shape":"square"}`)}, "allowed are hanging_cluster"},
		{"settings that are wrong", []string{"--hotline", wrong, "rehearse"}, "hotline.toml:1: key units"},
		{"a transcript that is not there", []string{"rehearse", "nowhere.txt"}, "nowhere.txt"},
		{"a transcript that is none", []string{"rehearse", write(t, "t.txt", "hello")}, `t.txt:1: "hello" is not an act`},
		{"a hotline that would forget everything", []string{"serve"}, "SKEPLINE_REDIS_URL is not set"},
		{"a roster without a place to keep it", []string{"roster", "list"}, "SKEPLINE_REDIS_URL is not set"},
		{"a catcher without a home", []string{"roster", "invite", "Ada", "--home", "here"}, "lat"},
		{"a hotline that nobody can reach", []string{"check"}, "the hotline cannot run like this"},
		{"no command", nil, "rehearse"},
	} {
		r := runCommand(t, "", noEnvironment, row.args...)
		if r.code == 0 || !strings.Contains(r.errs, row.want) {
			t.Errorf("%s: exit %d, %q; want an error with %q in it", row.why, r.code, r.errs, row.want)
		}
	}
}

func TestRehearse(t *testing.T) {
	if r := runCommand(t, "", noEnvironment, "rehearse"); r.code != 0 || !strings.Contains(r.out, "Quillbrook Bees, Tuesday 12 May 2026") {
		t.Errorf("the built-in scenario: exit %d\n%s%s", r.code, r.out, r.errs)
	}
	file := write(t, "t.txt", "phone gwen sms\ngwen > hello\ngwen < No such words")
	if r := runCommand(t, "", noEnvironment, "rehearse", file); r.code != 1 || !strings.Contains(r.errs, "t.txt:3\n") || !strings.Contains(r.errs, "No such words") {
		t.Errorf("a broken expectation: exit %d\n%s%s", r.code, r.out, r.errs)
	}
}

// An invitation is printed by the roster command, used by text on a running hotline, and
// works once.
func TestInvitation(t *testing.T) {
	redisURL := realRedis(t)
	w := openTown(t, redisURL, 1, "")
	// The commands read the same settings, so they find the same hotline.
	getenv := w.environment(redisURL)
	roster := func(args ...string) result {
		t.Helper()
		r := runCommand(t, "", getenv, append([]string{"--hotline", w.file, "roster"}, args...)...)
		if r.code != 0 {
			t.Fatalf("roster %v: exit %d: %s", args, r.code, r.errs)
		}
		return r
	}
	invited := roster("import", write(t, "roster.csv", `name,address,lat,lon,reach_km,max_height_m,skills,hours,language
Chidi,,42.5,-76.4,10,3,ladder,Mo-Fr 17:00-21:00,
Ada,telegram:5550201,42.451,-76.482,15,4,ladder;suit,,en
`))
	token := regexp.MustCompile(`JOIN ([A-Za-z0-9_-]{22}) to \` + ourNumber).FindStringSubmatch(invited.out)
	if token == nil || !strings.Contains(invited.out, "https://t.me/"+w.telegram.Username+"?start="+token[1]) {
		t.Fatalf("the invitation is %q", invited.out)
	}
	if list := roster("list"); !strings.Contains(list.out, "(invited)") || strings.Contains(list.out, "5550201") {
		t.Errorf("the list shows a full address, or nobody invited:\n%s", list.out)
	}
	w.texts(chidi, "JOIN "+token[1])
	w.sms(chidi, "Chidi")
	if list := roster("list"); strings.Contains(list.out, "(invited)") || !strings.Contains(list.out, "sms:…23") {
		t.Errorf("after joining the list is\n%s", list.out)
	}
	before := len(w.twilio.Sent())
	w.texts("+16075550144", "JOIN "+token[1])
	w.until("an answer to the second use", func() bool { return len(w.twilio.Sent()) > before })
	roster("import", write(t, "roster.csv", "name,address,lat,lon,reach_km,max_height_m,skills,hours,language\nChidi,,42.5,-76.4,12,3,,,\n"))
	if list := roster("list"); !strings.Contains(list.out, "sms:…23") {
		t.Errorf("importing a row without an address threw Chidi's away, or somebody else has joined as Chidi:\n%s", list.out)
	}
	roster("remove", "chidi")
	if list := roster("list"); strings.Contains(list.out, "chidi") || !strings.Contains(list.out, "ada") {
		t.Errorf("after removing Chidi the list is\n%s", list.out)
	}
	if r := runCommand(t, "", getenv, "--hotline", w.file, "roster", "remove", "nobody"); r.code == 0 {
		t.Error("removing nobody succeeded")
	}
	invite := roster("invite", "Ada", "--home", "42.4,-76.5", "--hours", "Sa,Su 08:00-12:00")
	if !strings.Contains(invite.out, "Ada (ada-2)") {
		t.Errorf("a second Ada got the first one's place: %s", invite.out)
	}
}

func TestCheck(t *testing.T) {
	redisURL := realRedis(t)
	w := openTown(t, redisURL, 1, "")
	if r := runCommand(t, "", w.environment(redisURL), "check"); r.code != 0 || strings.Count(r.out, "takes the credentials") != 2 ||
		!strings.Contains(r.out, "(strict-single). Nothing that was acknowledged is lost") {
		t.Errorf("all is well, and check ended with %d: %s%s", r.code, r.out, r.errs)
	}
	w.twilio.Next(standin.TwilioAccount, 1, standin.Refusal(401, 20003, "Authenticate"))
	if r := runCommand(t, "", w.environment(redisURL), "check"); r.code != 1 || !strings.Contains(r.out, "TWILIO_AUTH_TOKEN") {
		t.Errorf("Twilio refuses, and check ended with %d: %s%s", r.code, r.out, r.errs)
	}
}
