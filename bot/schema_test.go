package bot

import (
	"encoding/json"
	"flag"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"skepline/notify"
)

var rewrite = flag.Bool("rewrite", false, "write testdata/documents of the current schema anew")

// documentsOf is a call that is held, with everybody in it, made by the decisions of today.
func documentsOf(t *testing.T) []Document {
	m := newModel(t, time.Date(2026, 5, 12, 18, 5, 0, 0, time.UTC))
	for i, id := range []string{"ada", "bram"} {
		m.hear(t, Enrolled{Event: EventID("ro:" + id), Catcher: notify.Catcher{
			ID: id, Name: strings.ToUpper(id[:1]) + id[1:], Address: walkers[4+i], Lat: 42.45, Lon: -76.48, ReachKm: 30, MaxHeightM: 5,
			Skills: []notify.Skill{notify.Ladder}, JobsADay: 3}})
	}
	m.hear(t, Said{Event: "tw:1", From: walkers[0], Text: "hanging cluster of bees, nobody stung, 14 Mill Ln, I can reach it", Photos: []string{"tg:photo"}})
	m.hear(t, Said{Event: "tg:1", From: walkers[4], Text: "TAKE"})
	m.hear(t, Said{Event: "tg:2", From: walkers[4], Text: "30"})
	var docs []Document
	for _, d := range m.docs {
		docs = append(docs, d)
	}
	slices.SortFunc(docs, func(a, b Document) int { return compareKeys(a.Key, b.Key) })
	return docs
}

// TestDocumentsOfEveryVersion decodes the documents that each released version wrote and
// takes every kind of event through Decide on them.
func TestDocumentsOfEveryVersion(t *testing.T) {
	current := filepath.Join("..", "testdata", "documents", "v1")
	if *rewrite {
		for _, d := range documentsOf(t) {
			b, err := json.Marshal(map[string]any{"kind": d.Key.Kind, "id": d.Key.ID, "version": d.Version, "body": json.RawMessage(d.Body)})
			if err != nil {
				t.Fatal(err)
			}
			if err := os.WriteFile(filepath.Join(current, d.Key.Kind+"-"+d.Key.ID+".json"), append(b, '\n'), 0o644); err != nil {
				t.Fatal(err)
			}
		}
	}
	versions, err := filepath.Glob("../testdata/documents/v*")
	if err != nil || len(versions) == 0 {
		t.Fatalf("no documents: %v", err)
	}
	for _, dir := range versions {
		docs := readDocuments(t, dir)
		call := ""
		for _, d := range docs {
			if d.Key.Kind == KindCall {
				call = d.Key.ID
			}
		}
		for _, e := range everyEvent(call) {
			m := newModel(t, time.Date(2026, 5, 12, 19, 5, 0, 0, time.UTC))
			for _, d := range docs {
				m.docs[d.Key] = d
			}
			m.finds["ref:"+"7KQ2"] = call
			m.hear(t, e) // which fails the test when a document cannot be read
		}
	}
}

func readDocuments(t *testing.T, dir string) []Document {
	t.Helper()
	files, err := filepath.Glob(filepath.Join(dir, "*.json"))
	if err != nil || len(files) < 4 {
		t.Fatalf("%s holds %d documents: %v", dir, len(files), err)
	}
	var docs []Document
	for _, file := range files {
		b, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		var stored struct {
			Kind, ID string
			Version  int64
			Body     json.RawMessage
		}
		if err := json.Unmarshal(b, &stored); err != nil {
			t.Fatalf("%s: %v", file, err)
		}
		docs = append(docs, Document{Key: Key{stored.Kind, stored.ID}, Version: stored.Version, Body: stored.Body})
	}
	return docs
}

// everyEvent has at least one of each kind.
func everyEvent(call string) []Event {
	offer := notify.Message{ID: "m1", To: walkers[5], Class: notify.Offer, Still: notify.Still{Call: call, Offer: "bram"}}
	events := []Event{
		Tapped{Event: "x:1", From: walkers[4], Says: "THERE"}, Tapped{Event: "x:2", From: walkers[0], Says: "=phone:1"},
		Rang{Event: "x:3", From: walkers[0]}, Blocked{Event: "x:4", From: walkers[4]}, Blocked{Event: "x:5", From: walkers[0]},
		Undelivered{Event: "x:6", Message: offer, Reason: "unreachable"}, Dismissed{Event: "x:7", Catcher: "ada"},
		Enrolled{Event: "x:8", Catcher: notify.Catcher{ID: "ada", Name: "Ada", Address: walkers[4], ReachKm: 30, JobsADay: 3}},
		Kicked{Event: "x:9", Call: call}, Said{Event: "x:10", From: walkers[0], Photos: []string{"tg:photo"}},
	}
	for _, purpose := range []string{"silence", "photo", "round", "news", "steward", "lapse", "eta", "dusk", "lift", "hive"} {
		for n := range 4 {
			events = append(events, Fired{Timer: Timer{ID: call + "/" + purpose, N: n}})
		}
	}
	for i, text := range saidAtRandom {
		events = append(events, Said{Event: EventID("x:s" + itoa(i)), From: walkers[0], Text: text}, Said{Event: EventID("x:c" + itoa(i)), From: walkers[4], Text: text})
	}
	return events
}

// TestFieldsOfANewerProgramAreKept holds that what this program does not know is still
// there after it has written a document, also inside it.
func TestFieldsOfANewerProgramAreKept(t *testing.T) {
	m := newModel(t, time.Date(2026, 5, 12, 18, 5, 0, 0, time.UTC))
	m.hear(t, Said{Event: "tw:1", From: walkers[0], Text: "hanging cluster of bees on the fence"})
	person := Key{KindPerson, PersonID(testSecret, walkers[0])}
	d := m.docs[person]
	d.Body = []byte(strings.Replace(strings.Replace(string(d.Body), `{"schema":1`, `{"mood":{"of":"bees"},"schema":1`, 1), `"talk":{`, `"talk":{"tone":7,`, 1))
	m.docs[person] = d
	version := d.Version
	m.hear(t, Said{Event: "tw:2", From: walkers[0], Text: "14 Mill Ln"})
	got := string(m.docs[person].Body)
	if m.docs[person].Version == version || !strings.Contains(got, `"mood":{"of":"bees"}`) || !strings.Contains(got, `"tone":7`) {
		t.Errorf("written as %s", got)
	}
	before := got
	m.hear(t, Said{Event: "tw:3", From: walkers[0], Other: "sticker"})
	if after := string(m.docs[person].Body); !strings.Contains(after, `"mood"`) {
		t.Errorf("after another event %s, before %s", after, before)
	}
}

// TestANewerSchemaIsRefused holds that a document of a newer schema stops the event, rather
// than being read as what it is not.
func TestANewerSchemaIsRefused(t *testing.T) {
	m := newModel(t, time.Date(2026, 5, 12, 18, 5, 0, 0, time.UTC))
	m.hear(t, Said{Event: "tw:1", From: walkers[0], Text: "hanging cluster of bees on the fence"})
	person := Key{KindPerson, PersonID(testSecret, walkers[0])}
	d := m.docs[person]
	d.Body = []byte(strings.Replace(string(d.Body), `"schema":1`, `"schema":2`, 1))
	m.docs[person] = d
	defer func() {
		err, ok := recover().(error)
		if !ok || !strings.Contains(err.Error(), "schema 2") {
			t.Errorf("refused with %v", err)
		}
	}()
	m.decide(t, Said{Event: "tw:2", From: walkers[0], Text: "14 Mill Ln"})
	t.Error("it was read")
}
