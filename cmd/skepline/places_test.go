package main

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
)

// A place that only a map server knows is looked up while the talk goes on; the offer tells
// how far it is.
func TestServeLooksUpPlaces(t *testing.T) {
	stores(t, func(t *testing.T, redisURL string) {
		var w *town
		server := httptest.NewServer(http.HandlerFunc(func(rw http.ResponseWriter, r *http.Request) {
			at := w.replicas[0].settings
			if r.URL.Query().Get("q") == "behind the old mill" {
				fmt.Fprintf(rw, `[{"lat":"%f","lon":"%f","display_name":"Old Mill, Somewhere"}]`, at.Latitude+0.01, at.Longitude)
				return
			}
			fmt.Fprint(rw, "[]")
		}))
		defer server.Close()
		w = openTownWith(t, redisURL, 1, "hook-secret", "[places]\nnominatim = \""+server.URL+"\"\n")
		at := w.replicas[0].settings
		w.enrols("Ada", chatAddress(ada), at.Latitude+0.02, at.Longitude)
		w.texts(gwen, report)
		w.sms(gwen, "911")
		w.texts(gwen, "behind the old mill")
		w.sms(gwen, "volunteer asked")
		if offer := w.chat(ada, "Swarm"); strings.Contains(offer.Text, "not on the map") {
			t.Errorf("the offer does not use what was looked up: %q", offer.Text)
		}
	})
}

func TestPlacesCommand(t *testing.T) {
	redisURL := realRedis(t)
	w := openTown(t, redisURL, 1, "")
	at := w.replicas[0].settings
	run := func(args ...string) result {
		t.Helper()
		return runCommand(t, "", w.environment(redisURL), append([]string{"--hotline", w.file, "places"}, args...)...)
	}
	row := func(name string, lat float64) string {
		return fmt.Sprintf("1\t%s\t%s\t\t%f\t%f\tR\tST\tUS\t\tQB\t\t\t\t0\t\t\t\t\n", name, name, lat, at.Longitude)
	}
	if r := run("find", "14", "Plum", "St"); r.code != 0 || !strings.Contains(r.out, "stays as the words are") {
		t.Errorf("before an import: %d %s%s", r.code, r.out, r.errs)
	}
	far := at.Latitude - 40
	if r := run("import", write(t, "XX.txt", row("Plum Street", at.Latitude+0.01)+row("Plum Street", far))); r.code != 0 || !strings.HasPrefix(r.out, "Places kept: 1,") {
		t.Errorf("import: %d %s%s", r.code, r.out, r.errs)
	}
	if r := run("find", "14", "Plum", "St"); r.code != 0 || !strings.Contains(r.out, "Plum Street: ") || !strings.Contains(r.out, "within 400 m") {
		t.Errorf("find: %d %s%s", r.code, r.out, r.errs)
	}
	// The running hotline has them at once.
	w.enrols("Ada", chatAddress(ada), at.Latitude+0.02, at.Longitude)
	w.texts(gwen, report)
	w.sms(gwen, "911")
	w.texts(gwen, "14 Plum St")
	if offer := w.chat(ada, "Swarm"); strings.Contains(offer.Text, "not on the map") {
		t.Errorf("the offer does not know the street: %q", offer.Text)
	}
	if r := run("import", write(t, "bad.txt", "Plum Street, 42")); r.code == 0 || !strings.Contains(r.errs, "bad.txt: line 1: 1 columns") {
		t.Errorf("a wrong file: %d %s", r.code, r.errs)
	}
}
