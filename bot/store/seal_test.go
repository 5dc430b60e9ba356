package store

import (
	"bytes"
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"skepline/bot"
	"skepline/notify"
)

// testSecrets seal what the tests store, the newest first.
var testSecrets = [][]byte{[]byte("the newest secret, of 32 letters"), []byte("the secret before, of 32 letters")}

// keptOfPeople is one of everything that is written down of people.
var keptOfPeople = bot.Change{
	Documents: []bot.Document{
		person("gwen", 0, `{"name":"Gwendolyn","address":"sms:+16075550142"}`),
		call("c1", 0, `{"answers":{"place":{"text":"14 Mill Ln","lat":42.44678}},"words":["the gate code is 4711#60417"]}`),
	},
	Cards:   []bot.Card{{Field: "c:c1", Body: []byte(`{"ref":"7KQ2","stage":"taken","place":"Mill Ln","lat":42.44678}`)}},
	Roster:  []bot.RosterCard{{ID: "ada", Catcher: &notify.Catcher{ID: "ada", Name: "Adaline", Address: "telegram:5550177", Lat: 42.45123}}},
	Errands: []bot.Errand{{ID: "e1", Call: "c1", Words: "14 Mill Ln", Language: "en", Until: start.Add(time.Hour)}},
	Messages: []notify.Message{{ID: "m1", To: "sms:+16075550142", Recipient: "gwen", Class: notify.News,
		Text: "Thank you, Gwendolyn. Ada comes to 14 Mill Ln."}},
}

// plantedWords are what is looked for. None may stand there by chance: four digits do, in a time.
var plantedWords = []string{"Gwendolyn", "6075550142", "Mill Ln", "4711#60417", "42.44678", "Adaline", "5550177", "42.45123", "answers"}

// sealsWords holds that nothing of people can be read in Redis, before, while and after a
// message goes out, and that everything still comes back.
func sealsWords(w *world) {
	unread := func(when string) {
		w.Helper()
		there := w.dump()
		for _, word := range plantedWords {
			if strings.Contains(there, word) {
				w.Errorf("%s: %q can be read in Redis", when, word)
			}
		}
	}
	w.commit(keptOfPeople)
	unread("committed")
	loaded, err := w.b.Load(w.Context(), "tw:other", "gwen", "")
	if err != nil || string(loaded.Documents[0].Body) != string(keptOfPeople.Documents[0].Body) {
		w.Fatalf("the person comes back as %v, %v", loaded.Documents, err)
	}
	errand, _, err := w.b.LeaseErrand(w.Context(), time.Minute, 0)
	if diff := cmp.Diff(&keptOfPeople.Errands[0], errand); diff != "" || err != nil {
		w.Error(diff, err)
	}
	lease := w.leaseOne(w.b, notify.SMS)
	if diff := cmp.Diff(keptOfPeople.Messages[0], lease.Message); diff != "" {
		w.Error(diff)
	}
	w.accept(w.b, lease)
	unread("sent")
	failed, err := w.a.Report(w.Context(), bot.DeliveryReport{Message: "m1", ProviderID: "P-m1", Status: "failed"})
	if err != nil || failed == nil || failed.Recipient != "gwen" || failed.To != "" {
		w.Errorf("the failed message comes back as %v, %v", failed, err)
	}
	unread("reported")
}

// sealsRotate holds that a new secret reads what the old one sealed, seals what is written
// from then on, and lets the rest be sealed anew without anybody's version moving.
func sealsRotate(w *world) {
	opened := func(secrets ...[]byte) *Store {
		opts := w.a.opts
		opts.Secrets = secrets
		return w.open(opts, testClock)
	}
	seals := func(s *Store, look func(context.Context) (Seals, error), want Seals) {
		w.Helper()
		if got, err := look(w.Context()); err != nil || got != want {
			w.Errorf("seals %+v, %v; want %+v", got, err, want)
		}
	}
	older, newest := testSecrets[1], testSecrets[0]
	before, bare := opened(older), opened()
	if _, err := before.Commit(w.Context(), bot.Change{Event: "tw:1", Documents: keptOfPeople.Documents, Cards: keptOfPeople.Cards}); err != nil {
		w.Fatal(err)
	}
	if _, err := bare.Commit(w.Context(), bot.Change{Event: "tw:2", Messages: keptOfPeople.Messages, Roster: keptOfPeople.Roster}); err != nil {
		w.Fatal(err)
	}
	seals(w.a, w.a.Seals, Seals{Older: 3, Plain: 2})

	docs, err := w.a.Documents(w.Context(), []bot.Key{keptOfPeople.Documents[0].Key})
	if err != nil {
		w.Fatal(err)
	}
	w.commit(bot.Change{Documents: docs}) // whatever is written anew is under the newest
	seals(w.a, w.a.Seals, Seals{Newest: 1, Older: 2, Plain: 2})
	seals(w.a, w.a.Reseal, Seals{Newest: 1, Older: 2, Plain: 2}) // as found
	seals(w.a, w.a.Seals, Seals{Newest: 5})

	after := opened(newest)
	docs, err = after.Documents(w.Context(), []bot.Key{keptOfPeople.Documents[1].Key})
	if err != nil || docs[0].Version != 1 || string(docs[0].Body) != string(keptOfPeople.Documents[1].Body) {
		w.Errorf("the call comes back as %v, %v", docs, err)
	}
	if lease := w.leaseOne(after, notify.SMS); lease.Text != keptOfPeople.Messages[0].Text {
		w.Errorf("the message comes back as %q", lease.Text)
	}
	seals(before, before.Seals, Seals{Lost: 5})
	if _, err := before.Documents(w.Context(), []bot.Key{keptOfPeople.Documents[1].Key}); !errors.Is(err, ErrSealed) {
		w.Errorf("a secret that is gone: %v", err)
	}
}

// TestSealsHoldTheirPlace holds that a sealed value is refused once a bit of it, its place or
// its secret is another one.
func TestSealsHoldTheirPlace(t *testing.T) {
	s, err := sealsOf(testSecrets)
	if err != nil {
		t.Fatal(err)
	}
	body := []byte(`{"name":"Gwendolyn"}`)
	sealed := s.seal(nil, "d:person:gwen", body)
	if got, err := s.open("d:person:gwen", sealed); err != nil || !bytes.Equal(got, body) {
		t.Fatalf("opened as %q, %v", got, err)
	}
	if len(sealed) != len(body)+sealCost {
		t.Errorf("sealed in %d bytes, want %d", len(sealed), len(body)+sealCost)
	}
	if again := s.seal(nil, "d:person:gwen", body); bytes.Equal(again, sealed) {
		t.Error("two sealings are the same: the nonce is not fresh")
	}
	if _, err := s.open("d:person:bram", sealed); err == nil {
		t.Error("opened in another place")
	}
	for i := range sealed {
		for bit := range 8 {
			changed := bytes.Clone(sealed)
			changed[i] ^= 1 << bit
			if i == 0 { // without its mark it is read as plain, which no decoder takes
				continue
			}
			if got, err := s.open("d:person:gwen", changed); err == nil {
				t.Fatalf("opened with bit %d of byte %d turned, as %q", bit, i, got)
			}
		}
	}
	for n := 1; n < len(sealed); n++ {
		if _, err := s.open("d:person:gwen", sealed[:n]); err == nil {
			t.Fatalf("opened with %d of %d bytes", n, len(sealed))
		}
	}
}

// TestNoSecretNoStore holds that nothing is ever written to a real Redis unsealed.
func TestNoSecretNoStore(t *testing.T) {
	if s, err := Open(Options{URL: "redis://127.0.0.1:1", Hotline: "quillbrook"}); err == nil {
		_ = s.Close()
		t.Error("opened")
	}
}

// TestFilesAreSealed looks for what people told us in every byte of Redis' own files.
func TestFilesAreSealed(t *testing.T) {
	server := ownServer(t, "--appendonly", "yes", "--appendfsync", "always", "--aof-use-rdb-preamble", "no", "--rdbcompression", "no")
	s, err := Open(Options{URL: "redis://" + server.addr, Hotline: "quillbrook", Secrets: testSecrets, Pace: quick.Pace})
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = s.Close() }()
	change := keptOfPeople
	change.Event = "tw:1"
	if _, err := s.Commit(t.Context(), change); err != nil {
		t.Fatal(err)
	}
	leased, err := s.Lease(t.Context(), notify.SMS, 1, time.Minute)
	if err != nil || len(leased.Items) != 1 {
		t.Fatal(err)
	}
	if err := s.Finish(t.Context(), notify.Done{Lease: leased.Items[0], Result: notify.Result{End: notify.Accepted, ProviderID: "SM1"}}); err != nil {
		t.Fatal(err)
	}
	if err := server.client.Save(t.Context()).Err(); err != nil {
		t.Fatal(err)
	}
	dir, err := server.client.ConfigGet(t.Context(), "dir").Result()
	if err != nil {
		t.Fatal(err)
	}
	var all []byte
	err = filepath.WalkDir(dir["dir"], func(path string, d os.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		b, err := os.ReadFile(path)
		all = append(all, b...)
		return err
	})
	if err != nil || !bytes.Contains(all, []byte("{quillbrook}:d:person:gwen")) {
		t.Fatalf("%d bytes of files do not hold the store: %v", len(all), err)
	}
	for _, word := range plantedWords {
		if bytes.Contains(all, []byte(word)) {
			t.Errorf("%q can be read in Redis' files", word)
		}
	}
}

func BenchmarkSeal(b *testing.B) {
	s, err := sealsOf(testSecrets)
	if err != nil {
		b.Fatal(err)
	}
	body := bytes.Repeat([]byte("x"), 1500) // about a call's document
	sealed := s.seal(nil, "d:call:c1", body)
	b.Run("seal", func(b *testing.B) {
		for b.Loop() {
			s.seal(nil, "d:call:c1", body)
		}
	})
	b.Run("open", func(b *testing.B) {
		for b.Loop() {
			if _, err := s.open("d:call:c1", sealed); err != nil {
				b.Fatal(err)
			}
		}
	})
}
