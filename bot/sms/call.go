package sms

import (
	"context"
	"errors"
	"net/http"
	"net/http/httptrace"
	"net/url"
	"path"

	"github.com/twilio/twilio-go/client"
	openapi "github.com/twilio/twilio-go/rest/api/v2010"
)

// call is one call of Twilio's API. twilio-go takes no context, keeps the server's name to
// itself and shows no header of an answer, so each call gets a client whose transport does
// these three things.
type call struct {
	api  *openapi.ApiService
	wire *wire
}

func (d *Door) call(ctx context.Context) call {
	w := &wire{ctx: ctx, base: d.api, next: http.DefaultTransport}
	if d.Client != nil && d.Client.Transport != nil {
		w.next = d.Client.Transport
	}
	token := ""
	if len(d.AuthTokens) > 0 {
		token = d.AuthTokens[0]
	}
	c := &client.Client{
		Credentials: client.NewCredentials(d.AccountSID, token),
		HTTPClient:  &http.Client{Transport: w, CheckRedirect: stayHere},
	}
	c.SetAccountSid(d.AccountSID)
	return call{api: openapi.NewApiServiceWithClient(c), wire: w}
}

// stayHere keeps the credentials from following a redirect.
func stayHere(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }

// wire carries one call and notes what its end must be judged by.
type wire struct {
	ctx  context.Context
	base *url.URL // scheme, host and path prefix of the server
	next http.RoundTripper

	reached    bool   // a connection stood, so the request may have arrived
	status     int    // of the answer, 0 without one
	retryAfter string // the answer's header
}

// RoundTrip sends the request to the configured server under the call's context.
func (w *wire) RoundTrip(r *http.Request) (*http.Response, error) {
	if w.base == nil {
		return nil, errors.New("TWILIO_API_URL is no URL") // and the real Twilio is not meant
	}
	// Dialling and the TLS handshake are over when a connection is handed out.
	trace := &httptrace.ClientTrace{GotConn: func(httptrace.GotConnInfo) { w.reached = true }}
	r = r.Clone(httptrace.WithClientTrace(w.ctx, trace))
	// Whatever stands there, be it by TWILIO_EDGE and TWILIO_REGION, which twilio-go reads.
	r.URL.Scheme, r.URL.Host, r.Host = w.base.Scheme, w.base.Host, ""
	r.URL.Path, r.URL.RawPath = path.Join("/", w.base.Path, r.URL.Path), ""
	answer, err := w.next.RoundTrip(r)
	if err == nil {
		w.status, w.retryAfter = answer.StatusCode, answer.Header.Get("Retry-After")
	}
	return answer, err
}
