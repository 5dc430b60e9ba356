package sms

import (
	"crypto/hmac"
	"crypto/sha1" // Twilio's choice
	"encoding/base64"
	"errors"
	"io"
	"maps"
	"net/http"
	"net/url"
	"slices"
	"strings"
)

// maxWebhook is how long a webhook's body may be, in bytes. Twilio's longest (ten pictures
// and 1600 characters, form-encoded) stays well below. Judgement.
const maxWebhook = 64 << 10

// signedForm reads a webhook, refuses it unless Twilio signed it, and returns its
// parameters. Nothing of the body is looked at before the signature is found good. When
// ok is false the request is answered.
func (d *Door) signedForm(w http.ResponseWriter, r *http.Request) (form url.Values, ok bool) {
	if r.Method != http.MethodPost {
		w.Header().Set("Allow", http.MethodPost)
		refuse(w, http.StatusMethodNotAllowed)
		return nil, false
	}
	const signature = 28 // letters: a SHA-1 in base64
	if len(r.Header.Get("X-Twilio-Signature")) != signature {
		d.refused("twilio webhook without a signature: refused", r)
		refuse(w, http.StatusForbidden)
		return nil, false
	}
	body, err := io.ReadAll(http.MaxBytesReader(w, r.Body, maxWebhook))
	if err != nil {
		refuse(w, bodyStatus(err))
		return nil, false
	}
	if !d.signed(r, body) {
		refuse(w, http.StatusForbidden)
		return nil, false
	}
	form, err = url.ParseQuery(string(body))
	if err != nil || repeated(form) {
		d.refused("twilio webhook with a parameter twice or unreadable: refused", r)
		refuse(w, http.StatusBadRequest)
		return nil, false
	}
	if form.Get("AccountSid") != d.AccountSID {
		d.refused("twilio webhook of another account: refused", r)
		refuse(w, http.StatusForbidden)
		return nil, false
	}
	return form, true
}

// signed reports whether Twilio signed the request with one of our tokens
// (https://www.twilio.com/docs/usage/security): HMAC-SHA1 over the address that Twilio
// called, which is the configured one, never what the Host header claims, and the
// parameters. The comparison takes the same time wherever it fails.
func (d *Door) signed(r *http.Request, body []byte) bool {
	if r.Header.Get("X-Twilio-Webhooks-Signature-Settings") != "" {
		// A "webhooks rule" makes Twilio sign with HMAC-SHA256 and another key, which
		// twilio-go 1.31 cannot check.
		d.Log.Error("twilio signs by a webhooks rule: switch the rule off in the Twilio console; refused", "path", r.URL.Path)
		return false
	}
	if d.PublicURL == "" {
		d.refused("twilio webhook, but no public URL is set to check it against: refused", r)
		return false
	}
	called, signature := d.PublicURL+r.URL.RequestURI(), r.Header.Get("X-Twilio-Signature")
	good := d.plainlySigned(called, body, signature)
	for i := 0; !good && i < len(d.signs); i++ {
		good = d.signs[i].ValidateBody(called, body, signature)
	}
	if !good {
		d.refused("twilio webhook with a bad signature: refused; is the public URL the one that Twilio calls?", r)
	}
	return good
}

// plainlySigned is the usual case of the library's check, at a third of its price: the address
// as it is configured, a form for a body. Whatever else is good, the library finds.
func (d *Door) plainlySigned(called string, body []byte, signature string) bool {
	form, err := url.ParseQuery(string(body))
	if err != nil || strings.Contains(called, "bodySHA256") {
		return false
	}
	for _, name := range slices.Sorted(maps.Keys(form)) {
		called += name + form.Get(name)
	}
	good := false
	for _, token := range d.AuthTokens {
		if token == "" {
			continue
		}
		mac := hmac.New(sha1.New, []byte(token))
		mac.Write([]byte(called))
		good = hmac.Equal([]byte(base64.StdEncoding.EncodeToString(mac.Sum(nil))), []byte(signature)) || good
	}
	return good
}

// refused logs a refusal, not each one of a flood.
func (d *Door) refused(why string, r *http.Request) {
	if untold, ok := d.refusals.Tell(d.Clock.Now()); ok {
		d.Log.Warn(why, "path", r.URL.Path, "more_untold", untold)
	}
}

// repeated reports whether a parameter came twice: Twilio never does that, and the
// signature of such a body covers only the first of them.
func repeated(form url.Values) bool {
	for _, values := range form {
		if len(values) > 1 {
			return true
		}
	}
	return false
}

func bodyStatus(err error) int {
	var tooLong *http.MaxBytesError
	if errors.As(err, &tooLong) {
		return http.StatusRequestEntityTooLarge
	}
	return http.StatusBadRequest
}

func refuse(w http.ResponseWriter, status int) { http.Error(w, http.StatusText(status), status) }
