package sms

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/netip"
	"net/url"
	"regexp"
	"strings"
	"syscall"
)

var mediaName = regexp.MustCompile(`^([SM]M[0-9a-f]{32})/(ME[0-9a-f]{32})$`)

// Photo fetches a picture that came with a message, named "<message sid>/<media sid>". The
// address is built of these and of our account, never taken from what arrived, and a
// redirect is followed only to Twilio's own hosts, on https and on the open internet: nobody
// can make us fetch from our own network (OWASP ASVS 5.0, 1.3.6). The caller closes it.
func (d *Door) Photo(ctx context.Context, name string) (io.ReadCloser, error) {
	sids := mediaName.FindStringSubmatch(name)
	if sids == nil || len(d.AuthTokens) == 0 {
		return nil, errors.New("not the name of a picture")
	}
	address := strings.TrimSuffix(d.APIURL, "/") + "/2010-04-01/Accounts/" + d.AccountSID + "/Messages/" + sids[1] + "/Media/" + sids[2]
	r, err := http.NewRequestWithContext(ctx, http.MethodGet, address, nil)
	if err != nil {
		return nil, errors.New("the address of a picture cannot be made")
	}
	r.SetBasicAuth(d.AccountSID, d.AuthTokens[0])
	client := &http.Client{Transport: mediaTransport(d.APIURL), CheckRedirect: func(next *http.Request, via []*http.Request) error {
		if len(via) > 3 || !mediaHost(next.URL) {
			return errors.New("a redirect to where no picture of ours is")
		}
		return nil // net/http drops our credentials when the host changes
	}}
	answer, err := client.Do(r)
	if err != nil {
		return nil, errors.New("the provider cannot be reached") // the error itself names the address
	}
	if answer.StatusCode != http.StatusOK {
		_ = answer.Body.Close() // nothing in it for us
		return nil, fmt.Errorf("the provider answers %d", answer.StatusCode)
	}
	return answer.Body, nil
}

// mediaHost reports whether Twilio keeps pictures there: its own domain, and the store that
// its media addresses lead to (https://www.twilio.com/docs/messaging/api/media-resource;
// the second one from memory).
func mediaHost(u *url.URL) bool {
	host := u.Hostname()
	for _, domain := range []string{".twilio.com", ".twiliocdn.com", ".amazonaws.com"} {
		if strings.HasSuffix(host, domain) {
			return u.Scheme == "https"
		}
	}
	return false
}

// mediaTransport refuses addresses that are not on the open internet, after the name was
// resolved. Another server set for tests may be on this machine.
func mediaTransport(api string) http.RoundTripper {
	u, err := url.Parse(api)
	if err == nil && !strings.HasSuffix(u.Hostname(), ".twilio.com") {
		return http.DefaultTransport
	}
	dialer := &net.Dialer{Control: func(_, address string, _ syscall.RawConn) error {
		at, err := netip.ParseAddrPort(address)
		if err != nil || !openInternet(at.Addr()) {
			return errors.New("not an address on the open internet")
		}
		return nil
	}}
	return &http.Transport{DialContext: dialer.DialContext, DisableKeepAlives: true}
}

func openInternet(a netip.Addr) bool {
	a = a.Unmap()
	shared := netip.MustParsePrefix("100.64.0.0/10") // RFC 6598
	return a.IsGlobalUnicast() && !a.IsPrivate() && !shared.Contains(a)
}
