package standin

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"slices"
	"strings"
	"sync"
	"time"
)

// telegramQueue holds the updates that nobody has confirmed yet.
type telegramQueue struct {
	mu      sync.Mutex
	next    int64
	waiting []telegramUpdate
	came    chan struct{}   // closed when an update comes, and made anew
	taps    map[string]bool // ids of queries that may be answered
	pressed int             // gives those ids
	allowed []string        // nil = all
	url     string          // of the webhook; "" = getUpdates
	secret  string
	offsets []int64 // of each getUpdates
	polling int     // counts getUpdates; the last one wins
}

type telegramUpdate struct {
	id   int64
	kind string
	body map[string]any
}

func (q *telegramQueue) init() {
	q.next, q.came, q.taps = 70_000_001, make(chan struct{}), map[string]bool{}
}

// Push queues an update of a kind ("message", "callback_query") and returns its id. With a
// webhook set, Deliver brings it.
func (s *Telegram) Push(kind string, body map[string]any) int64 {
	q := &s.queue
	q.mu.Lock()
	defer q.mu.Unlock()
	u := telegramUpdate{id: q.next, kind: kind, body: map[string]any{"update_id": q.next, kind: body}}
	q.next++
	q.waiting = append(q.waiting, u)
	if id, ok := body["id"].(string); ok && kind == "callback_query" {
		q.taps[id] = true
	}
	close(q.came)
	q.came = make(chan struct{})
	return u.id
}

// Says queues a text from a person.
func (s *Telegram) Says(person TelegramPerson, text string) int64 {
	return s.Sends(person, map[string]any{"text": text})
}

// Sends queues a message with other fields than text: {"voice": {…}}.
func (s *Telegram) Sends(person TelegramPerson, fields map[string]any) int64 {
	return s.Push("message", person.message(fields))
}

// Taps queues a press on a button with data; the first query has the id "q1".
func (s *Telegram) Taps(person TelegramPerson, data string) int64 {
	s.queue.mu.Lock()
	s.queue.pressed++
	id := s.queue.pressed
	s.queue.mu.Unlock()
	return s.Push("callback_query", map[string]any{"id": fmt.Sprint("q", id), "from": person.user(),
		"chat_instance": "1", "data": data, "message": person.message(map[string]any{"text": "pressed"})})
}

// TelegramPerson is somebody who writes to the bot. In a private chat the chat's id is the
// person's.
type TelegramPerson struct {
	ID       int64
	Name     string
	Language string // as in a profile: "es-MX"
}

func (p TelegramPerson) user() map[string]any {
	u := map[string]any{"id": p.ID, "is_bot": false, "first_name": p.Name}
	if p.Language != "" {
		u["language_code"] = p.Language
	}
	return u
}

func (p TelegramPerson) message(fields map[string]any) map[string]any {
	m := map[string]any{"message_id": 1, "date": time.Now().Unix(), "from": p.user(),
		"chat": map[string]any{"id": p.ID, "type": "private", "first_name": p.Name}}
	for name, v := range fields {
		m[name] = v
	}
	return m
}

// JumpTo gives the next update this id: after a week without updates Telegram goes on
// anywhere.
func (s *Telegram) JumpTo(id int64) {
	s.queue.mu.Lock()
	defer s.queue.mu.Unlock()
	s.queue.next = id
}

// Waiting returns the ids of the updates that nobody has confirmed.
func (s *Telegram) Waiting() []int64 {
	s.queue.mu.Lock()
	defer s.queue.mu.Unlock()
	var ids []int64
	for _, u := range s.queue.waiting {
		ids = append(ids, u.id)
	}
	return ids
}

// Offsets returns the offset of every getUpdates so far, 0 for none given.
func (s *Telegram) Offsets() []int64 {
	s.queue.mu.Lock()
	defer s.queue.mu.Unlock()
	return slices.Clone(s.queue.offsets)
}

// Webhook returns the address and the secret that were set, "" when there is none.
func (s *Telegram) Webhook() (url, secret string) {
	s.queue.mu.Lock()
	defer s.queue.mu.Unlock()
	return s.queue.url, s.queue.secret
}

func (q *telegramQueue) setWebhook(url, secret string, allowed any) {
	q.mu.Lock()
	defer q.mu.Unlock()
	q.url, q.secret = url, secret
	q.allow(allowed)
}

// allow remembers which kinds are wanted until the next list is given.
func (q *telegramQueue) allow(list any) {
	kinds, given := list.([]any)
	if !given {
		return
	}
	q.allowed = nil
	for _, k := range kinds {
		q.allowed = append(q.allowed, fmt.Sprint(k))
	}
}

func (q *telegramQueue) tapKnown(id string) bool {
	q.mu.Lock()
	defer q.mu.Unlock()
	return q.taps[id]
}

// getUpdates answers with what is waiting from offset on, or waits for it. What is before
// the offset is confirmed by it and forgotten.
func (s *Telegram) getUpdates(w http.ResponseWriter, r *http.Request, given map[string]any) {
	offset, _ := given["offset"].(float64)
	timeout, _ := given["timeout"].(float64)
	limit := 100
	if n, ok := given["limit"].(float64); ok {
		limit = int(n)
	}
	if limit < 1 || limit > 100 {
		s.wrong("getUpdates: limit %d is not within 1 to 100", limit)
	}
	mine, err := s.queue.begin(int64(offset), given["allowed_updates"])
	hold := time.Duration(timeout * float64(time.Second))
	if s.Patience > 0 {
		hold = min(hold, s.Patience)
	}
	deadline := time.After(hold)
	for err == nil {
		var found []map[string]any
		var came <-chan struct{}
		found, came, err = s.queue.look(mine, limit)
		if err != nil {
			break
		}
		if len(found) > 0 || timeout == 0 {
			telegramYes(w, found)
			return
		}
		select {
		case <-came:
		case <-deadline:
			timeout = 0
		case <-s.closed:
			timeout = 0
		case <-r.Context().Done():
			return
		}
	}
	telegramNo(w, Trouble{Status: http.StatusConflict, Words: "Conflict: " + err.Error()})
}

// begin confirms what is before offset and makes this request the one that is served.
func (q *telegramQueue) begin(offset int64, allowed any) (mine int, err error) {
	q.mu.Lock()
	defer q.mu.Unlock()
	if q.url != "" {
		return 0, errors.New("can't use getUpdates method while webhook is active; use deleteWebhook to delete the webhook first")
	}
	q.offsets = append(q.offsets, offset)
	q.allow(allowed)
	q.waiting = slices.DeleteFunc(q.waiting, func(u telegramUpdate) bool {
		return u.id < offset || q.allowed != nil && !slices.Contains(q.allowed, u.kind)
	})
	q.polling++
	close(q.came) // whoever waits finds that it is not served any more
	q.came = make(chan struct{})
	return q.polling, nil
}

func (q *telegramQueue) look(mine, limit int) ([]map[string]any, <-chan struct{}, error) {
	q.mu.Lock()
	defer q.mu.Unlock()
	if mine != q.polling {
		return nil, nil, errors.New("terminated by other getUpdates request; make sure that only one bot instance is running")
	}
	found := []map[string]any{}
	for _, u := range q.waiting[:min(limit, len(q.waiting))] {
		found = append(found, u.body)
	}
	return found, q.came, nil
}

// Through makes webhooks to addresses that begin with public go to reach instead: what a
// proxy in front of the hotline does.
func (s *Telegram) Through(public, reach string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.through = [2]string{public, reach}
}

// Deliver brings the waiting updates to the webhook, in order, and returns the status of
// each answer. It stops at the first that is not 200; what was not taken waits on, as it
// does at Telegram.
func (s *Telegram) Deliver() ([]int, error) {
	var statuses []int
	for {
		u, ok := s.queue.first()
		if !ok {
			return statuses, nil
		}
		status, err := s.bring(u)
		if err != nil {
			return statuses, err
		}
		statuses = append(statuses, status)
		if status != http.StatusOK {
			return statuses, nil
		}
		s.queue.done(u.id)
	}
}

func (q *telegramQueue) first() (telegramUpdate, bool) {
	q.mu.Lock()
	defer q.mu.Unlock()
	if len(q.waiting) == 0 {
		return telegramUpdate{}, false
	}
	return q.waiting[0], true
}

func (q *telegramQueue) done(id int64) {
	q.mu.Lock()
	defer q.mu.Unlock()
	q.waiting = slices.DeleteFunc(q.waiting, func(u telegramUpdate) bool { return u.id == id })
}

// bring posts one update to the webhook.
func (s *Telegram) bring(u telegramUpdate) (status int, err error) {
	address, secret := s.Webhook()
	if address == "" {
		return 0, errors.New("no webhook is set")
	}
	s.mu.Lock()
	public, reach := s.through[0], s.through[1]
	s.mu.Unlock()
	if rest, ok := strings.CutPrefix(address, public); ok && public != "" {
		address = reach + rest
	}
	body, err := json.Marshal(u.body)
	if err != nil {
		return 0, err
	}
	r, err := http.NewRequest(http.MethodPost, address, bytes.NewReader(body))
	if err != nil {
		return 0, err
	}
	r.Header.Set("Content-Type", "application/json")
	if secret != "" {
		r.Header.Set("X-Telegram-Bot-Api-Secret-Token", secret)
	}
	answer, err := http.DefaultClient.Do(r)
	if err != nil {
		return 0, err
	}
	answer.Body.Close()
	return answer.StatusCode, nil
}
