package sms

import (
	"io"
	"net/http"
	"net/http/httptest"
	"net/netip"
	"net/url"
	"strings"
	"testing"
)

const picture = "MM0123456789abcdef0123456789abcdef/ME0123456789abcdef0123456789abcdef"

func photoDoor(t *testing.T, handler http.HandlerFunc) *Door {
	t.Helper()
	server := httptest.NewServer(handler)
	t.Cleanup(server.Close)
	return New(Config{AccountSID: "AC0123456789abcdef0123456789abcdef", AuthTokens: []string{"plum"}, APIURL: server.URL})
}

func TestPhotoIsFetchedFromOurAccount(t *testing.T) {
	d := photoDoor(t, func(w http.ResponseWriter, r *http.Request) {
		want := "/2010-04-01/Accounts/AC0123456789abcdef0123456789abcdef/Messages/MM0123456789abcdef0123456789abcdef/Media/ME0123456789abcdef0123456789abcdef"
		if user, password, _ := r.BasicAuth(); r.URL.Path != want || password != "plum" || !strings.HasPrefix(user, "AC") {
			t.Errorf("asked for %s with %q", r.URL.Path, user)
		}
		_, _ = io.WriteString(w, "picture")
	})
	body, err := d.Photo(t.Context(), picture)
	if err != nil {
		t.Fatal(err)
	}
	defer body.Close()
	if got, _ := io.ReadAll(body); string(got) != "picture" {
		t.Errorf("got %q", got)
	}
}

func TestPhotoIsFetchedFromNowhereElse(t *testing.T) {
	d := photoDoor(t, func(w http.ResponseWriter, r *http.Request) {
		http.Redirect(w, r, "http://169.254.169.254/latest/meta-data", http.StatusFound)
	})
	for why, name := range map[string]string{
		"a redirect into our own network": picture,
		"a path that climbs":              "MM0123456789abcdef0123456789abcdef/../../secrets",
		"another address":                 "http://127.0.0.1/x",
		"nothing":                         "",
	} {
		if body, err := d.Photo(t.Context(), name); err == nil {
			_ = body.Close()
			t.Errorf("%s was fetched", why)
		}
	}
}

func TestWhereAPictureMayLie(t *testing.T) {
	for address, ok := range map[string]bool{
		"https://mms.twiliocdn.com/x": true, "https://api.twilio.com/x": true, "https://media.s3.amazonaws.com/x": true,
		"http://api.twilio.com/x": false, "https://twilio.com.evil.example/x": false, "https://eviltwilio.com/x": false, "https://127.0.0.1/x": false,
	} {
		u, err := url.Parse(address)
		if err != nil {
			t.Fatal(err)
		}
		if got := mediaHost(u); got != ok {
			t.Errorf("%s: may lie there %t, want %t", address, got, ok)
		}
	}
	for ip, ok := range map[string]bool{
		"54.1.2.3": true, "2600:1f18::1": true, "127.0.0.1": false, "10.0.0.1": false, "169.254.169.254": false, "192.168.1.1": false,
		"100.64.0.1": false, "::1": false, "fd00::1": false, "fe80::1": false, "::ffff:10.0.0.1": false, "0.0.0.0": false,
	} {
		if got := openInternet(netip.MustParseAddr(ip)); got != ok {
			t.Errorf("%s: on the open internet %t, want %t", ip, got, ok)
		}
	}
}

// TestPictureFromOurOwnNetwork holds that a name of Twilio's that leads to an address of our
// own network is not called: the address is looked at after the name was resolved.
func TestPictureFromOurOwnNetwork(t *testing.T) {
	called := false
	server := httptest.NewServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { called = true }))
	defer server.Close()
	r, err := http.NewRequest(http.MethodGet, server.URL, nil)
	if err != nil {
		t.Fatal(err)
	}
	answer, err := mediaTransport("https://api.twilio.com").RoundTrip(r)
	if err == nil {
		_ = answer.Body.Close()
	}
	if err == nil || called {
		t.Error("an address of this machine was called")
	}
}
