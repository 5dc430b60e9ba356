package standin

import (
	"crypto/hmac"
	"crypto/sha1"
	"encoding/base64"
	"fmt"
	"maps"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"
)

// Text enters an incoming message into the log and returns the parameters of its webhook.
// From and to are as Twilio writes them: "+16075550142", "whatsapp:+16075550142".
func (s *Twilio) Text(from, to, body string, files ...Media) url.Values {
	return s.TextAt(time.Now(), from, to, body, files...)
}

// TextAt is Text at another time than now.
func (s *Twilio) TextAt(at time.Time, from, to, body string, files ...Media) url.Values {
	s.mu.Lock()
	defer s.mu.Unlock()
	prefix := "SM"
	if len(files) > 0 {
		prefix = "MM"
	}
	m := twilioLogged{sid: s.newID(prefix), from: from, to: to, body: body, at: at}
	p := url.Values{
		"MessageSid": {m.sid}, "SmsSid": {m.sid}, "SmsMessageSid": {m.sid}, "AccountSid": {s.AccountSID},
		"From": {from}, "To": {to}, "Body": {body}, "NumMedia": {strconv.Itoa(len(files))}, "NumSegments": {"1"},
		"ApiVersion": {"2010-04-01"}, "SmsStatus": {"received"},
	}
	if s.Service != "" {
		p.Set("MessagingServiceSid", s.Service)
	}
	for i, f := range files {
		f.sid = s.newID("ME")
		m.media = append(m.media, f)
		n := strconv.Itoa(i)
		p.Set("MediaUrl"+n, "https://api.twilio.com"+s.mediaPath(m.sid, f.sid))
		p.Set("MediaContentType"+n, f.Type)
	}
	s.logged = append(s.logged, m)
	return p
}

func (s *Twilio) mediaPath(message, media string) string {
	return "/2010-04-01/Accounts/" + s.AccountSID + "/Messages/" + message + "/Media/" + media
}

// Sign returns the X-Twilio-Signature of a webhook as Twilio documents it
// (https://www.twilio.com/docs/usage/security): base64 of the HMAC-SHA1, keyed with the
// auth token, of the address and the parameters sorted by name, name and value run together.
func (s *Twilio) Sign(address string, params url.Values) string {
	mac := hmac.New(sha1.New, []byte(s.AuthToken))
	mac.Write([]byte(address))
	for _, name := range slices.Sorted(maps.Keys(params)) {
		mac.Write([]byte(name + params.Get(name)))
	}
	return base64.StdEncoding.EncodeToString(mac.Sum(nil))
}

// Through makes webhooks to addresses that begin with public go to reach instead, signed
// for public: what a proxy in front of the hotline does.
func (s *Twilio) Through(public, reach string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.through = [2]string{public, reach}
}

// SignedPost posts a webhook. The caller closes the answer's body.
func (s *Twilio) SignedPost(address string, params url.Values) (*http.Response, error) {
	s.mu.Lock()
	public, reach := s.through[0], s.through[1]
	s.mu.Unlock()
	target := address
	if rest, ok := strings.CutPrefix(address, public); ok && public != "" {
		target = reach + rest
	}
	r, err := http.NewRequest(http.MethodPost, target, strings.NewReader(params.Encode()))
	if err != nil {
		return nil, err
	}
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded; charset=utf-8")
	r.Header.Set("X-Twilio-Signature", s.Sign(address, params))
	return http.DefaultClient.Do(r)
}

// Report posts what became of a sent message to the address that came with it. Code is an
// error code, "" for none. The caller closes the answer's body.
func (s *Twilio) Report(sid, status, code string) (*http.Response, error) {
	for _, m := range s.Sent() {
		if m.SID != sid {
			continue
		}
		if m.Callback == "" {
			return nil, fmt.Errorf("message %s came without a StatusCallback", sid)
		}
		p := url.Values{"MessageSid": {sid}, "SmsSid": {sid}, "MessageStatus": {status}, "SmsStatus": {status},
			"AccountSid": {s.AccountSID}, "From": {m.From}, "To": {m.To}, "ApiVersion": {"2010-04-01"}}
		if code != "" {
			p.Set("ErrorCode", code)
		}
		return s.SignedPost(m.Callback, p)
	}
	return nil, fmt.Errorf("no message %s", sid)
}

// list answers with the incoming messages, newest first, page by page.
func (s *Twilio) list(w http.ResponseWriter, r *http.Request) {
	q := r.URL.Query()
	faults := s.spec.List.check(q)
	for _, f := range faults {
		s.wrong("list: %s", f)
	}
	if len(faults) > 0 {
		twilioNo(w, http.StatusBadRequest, 20001, strings.Join(faults, "; "))
		return
	}
	found := s.find(q)
	size, start := 50, 0
	if n, err := strconv.Atoi(q.Get("PageSize")); err == nil {
		size = n
	}
	if n, err := strconv.Atoi(strings.TrimPrefix(q.Get("PageToken"), "PA")); err == nil {
		start = min(n, len(found))
	}
	end := min(start+size, len(found))
	out := map[string]any{"messages": found[start:end], "page": start / size, "page_size": size, "start": start,
		"end": max(end-1, 0), "uri": r.URL.RequestURI(), "first_page_uri": r.URL.Path, "previous_page_uri": nil, "next_page_uri": nil}
	if end < len(found) {
		q.Set("Page", strconv.Itoa(start/size+1))
		q.Set("PageToken", "PA"+strconv.Itoa(end))
		out["next_page_uri"] = r.URL.Path + "?" + q.Encode()
	}
	writeJSON(w, s.spec.List.Success, out)
}

// find returns the logged messages that the filters name, newest first.
func (s *Twilio) find(q url.Values) []map[string]any {
	s.mu.Lock()
	defer s.mu.Unlock()
	after, _ := time.Parse(time.RFC3339, q.Get("DateSent>"))
	all := slices.Clone(s.logged)
	slices.SortStableFunc(all, func(a, b twilioLogged) int { return b.at.Compare(a.at) })
	found := []map[string]any{}
	if q.Get("DateSent>") == "" {
		// A message that waits in the queue has no DateSent yet, so that filter hides it.
		for _, m := range slices.Backward(s.sent) {
			if to := q.Get("To"); to == "" || to == m.To {
				found = append(found, s.outgoing(m))
			}
		}
	}
	for _, m := range all {
		if to := q.Get("To"); to != "" && to != m.to || q.Get("From") != "" && q.Get("From") != m.from || m.at.Before(after) {
			continue
		}
		found = append(found, s.resource(m))
	}
	return found
}

// outgoing returns a message that was taken as the log shows it.
func (s *Twilio) outgoing(m TwilioSent) map[string]any {
	out := map[string]any{}
	for name := range s.spec.Message {
		out[name] = nil
	}
	maps.Copy(out, map[string]any{
		"sid": m.SID, "account_sid": s.AccountSID, "direction": "outbound-api", "status": "queued",
		"from": m.Params.Get("From"), "to": m.To, "body": m.Body, "num_media": "0", "num_segments": "1",
		"date_created": m.At.UTC().Format(time.RFC1123Z), "api_version": "2010-04-01",
		"uri": "/2010-04-01/Accounts/" + s.AccountSID + "/Messages/" + m.SID + ".json",
	})
	return out
}

// resource returns a logged message as the resource is documented: every field is there.
func (s *Twilio) resource(m twilioLogged) map[string]any {
	out := map[string]any{}
	for name := range s.spec.Message {
		out[name] = nil
	}
	at := m.at.UTC().Format(time.RFC1123Z)
	maps.Copy(out, map[string]any{
		"sid": m.sid, "account_sid": s.AccountSID, "direction": "inbound", "status": "received",
		"from": m.from, "to": m.to, "body": m.body, "num_media": strconv.Itoa(len(m.media)), "num_segments": "1",
		"date_created": at, "date_sent": at, "date_updated": at, "api_version": "2010-04-01",
		"uri": "/2010-04-01/Accounts/" + s.AccountSID + "/Messages/" + m.sid + ".json",
	})
	if s.Service != "" {
		out["messaging_service_sid"] = s.Service
	}
	return out
}

func (s *Twilio) mediaOf(message string) []Media {
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, m := range s.logged {
		if m.sid == message {
			return m.media
		}
	}
	return nil
}

// listMedia answers with a message's attachments. The published cut has no description of
// this subresource; the shape is that of Twilio's Go library.
func (s *Twilio) listMedia(w http.ResponseWriter, r *http.Request, message string) {
	list := []map[string]any{}
	for _, f := range s.mediaOf(message) {
		list = append(list, map[string]any{"sid": f.sid, "parent_sid": message, "account_sid": s.AccountSID,
			"content_type": f.Type, "uri": s.mediaPath(message, f.sid) + ".json"})
	}
	writeJSON(w, http.StatusOK, map[string]any{"media_list": list, "page": 0, "page_size": 50, "start": 0,
		"end": max(len(list)-1, 0), "uri": r.URL.RequestURI(), "first_page_uri": r.URL.Path, "next_page_uri": nil, "previous_page_uri": nil})
}

// file answers with what an attachment holds.
func (s *Twilio) file(w http.ResponseWriter, message, media string) {
	for _, f := range s.mediaOf(message) {
		if f.sid == media {
			w.Header().Set("Content-Type", f.Type)
			w.Write(f.Body)
			return
		}
	}
	twilioNo(w, http.StatusNotFound, 20404, "The requested resource was not found")
}
