package sms

import (
	"encoding/json"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"strings"
	"testing"
)

// TestSignatureVectors holds the signatures that Twilio's own Node library makes.
func TestSignatureVectors(t *testing.T) {
	b, err := os.ReadFile("../../testdata/published/twilio_signatures.json")
	if err != nil {
		t.Fatal(err)
	}
	var published struct {
		Vectors []struct {
			Name, URL, AuthToken, Signature, RawBody string
			Params                                   map[string]any
			Valid                                    bool
		}
	}
	if err := json.Unmarshal(b, &published); err != nil {
		t.Fatal(err)
	}
	if len(published.Vectors) < 12 {
		t.Fatalf("%d vectors; the file holds 12", len(published.Vectors))
	}
	for _, v := range published.Vectors {
		form, twice := formOf(v.Params)
		body := form.Encode()
		if v.RawBody != "" {
			body = v.RawBody
		}
		u, err := url.Parse(v.URL)
		if err != nil {
			t.Fatal(err)
		}
		h := open(t)
		h.Door = New(Config{AccountSID: "AC" + strings.Repeat("0", 32), AuthTokens: []string{v.AuthToken},
			PublicURL: u.Scheme + "://" + u.Host, Hearer: h.heard, Log: h.Log, Clock: h.clock})
		r := httptest.NewRequest(http.MethodPost, u.RequestURI(), strings.NewReader(body))
		r.Header.Set("X-Twilio-Signature", v.Signature)
		if twice {
			// Twilio repeats no parameter, and twilio-go signs only the first of two, so a
			// repeated one is refused whatever its signature.
			w := httptest.NewRecorder()
			h.ServeMessage(w, r)
			if w.Code/100 != 4 || len(h.heard.events) > 0 {
				t.Errorf("%s: answered %d, heard %d", v.Name, w.Code, len(h.heard.events))
			}
			continue
		}
		if got := h.signed(r, []byte(body)); got != v.Valid {
			t.Errorf("%s: signed = %v, want %v", v.Name, got, v.Valid)
		}
	}
}

// formOf returns a vector's parameters and whether one of them comes more than once.
func formOf(params map[string]any) (form url.Values, twice bool) {
	form = url.Values{}
	for name, v := range params {
		if list, ok := v.([]any); ok {
			twice = true
			for _, item := range list {
				form.Add(name, item.(string))
			}
			continue
		}
		form.Set(name, v.(string))
	}
	return form, twice
}

func TestRefusedWebhooks(t *testing.T) {
	h := open(t)
	good := h.twilio.Text(gwen, ours, "There's a swarm on my fence")
	for _, c := range []struct {
		why    string
		change func(*http.Request)
		want   int
	}{
		{"no signature", func(r *http.Request) { r.Header.Del("X-Twilio-Signature") }, 403},
		{"one letter of the signature", func(r *http.Request) {
			s := r.Header.Get("X-Twilio-Signature")
			r.Header.Set("X-Twilio-Signature", strings.ToLower(s))
		}, 403},
		{"another address than the one signed", func(r *http.Request) { r.URL.RawQuery = "m=1" }, 403},
		{"a body changed on the way", func(r *http.Request) {
			r.Body = http.NoBody
		}, 403},
		{"a webhooks rule, whose signature cannot be checked", func(r *http.Request) {
			r.Header.Set("X-Twilio-Webhooks-Signature-Settings", "key=K,algorithm=HMAC_SHA256")
		}, 403},
		{"a link preview", func(r *http.Request) { r.Method = http.MethodGet }, 405},
	} {
		r := h.webhook("/twilio/message", good)
		c.change(r)
		if w := h.serve(r); w.Code != c.want {
			t.Errorf("%s: answered %d, want %d", c.why, w.Code, c.want)
		}
	}
	for _, c := range []struct {
		why    string
		params url.Values
		want   int
	}{
		{"another account's, signed with our token", with(good, "AccountSid", "AC"+strings.Repeat("1", 32)), 403},
		{"longer than any webhook", with(good, "Body", strings.Repeat("b", maxWebhook)), 413},
		{"a parameter twice", url.Values{"AccountSid": {h.AccountSID}, "Body": {"a", "b"}}, 400},
	} {
		if w := h.serve(h.webhook("/twilio/message", c.params)); w.Code != c.want {
			t.Errorf("%s: answered %d, want %d", c.why, w.Code, c.want)
		}
	}
	h.PublicURL = ""
	if w := h.serve(h.webhook("/twilio/message", good)); w.Code != 403 {
		t.Errorf("without a public address: answered %d, want 403", w.Code)
	}
	if len(h.heard.events) > 0 {
		t.Errorf("heard %d events of refused webhooks", len(h.heard.events))
	}
	if !strings.Contains(h.logs.String(), "webhooks rule") {
		t.Error("the log does not say that a webhooks rule must be switched off")
	}
	h.secrets(t, "swarm on my fence")
}

// TestTwoTokens holds that webhooks signed with either token are taken while the account's
// token is being changed.
func TestTwoTokens(t *testing.T) {
	for _, tokens := range [][]string{{"%", "newest"}, {"newest", "%"}} {
		h := open(t)
		for i := range tokens {
			tokens[i] = strings.ReplaceAll(tokens[i], "%", h.twilio.AuthToken)
		}
		c := h.Config
		c.AuthTokens = tokens
		h.Door = New(c)
		if w := h.serve(h.webhook("/twilio/message", h.twilio.Text(gwen, ours, "bees"))); w.Code != 200 {
			t.Errorf("tokens %d: answered %d, want 200", len(tokens), w.Code)
		}
	}
}
