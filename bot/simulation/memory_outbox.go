package simulation

import (
	"cmp"
	"context"
	"slices"
	"time"

	"skepline/bot"
	"skepline/notify"
)

// outbox is the part of Memory in which messages wait: lines, lanes and leases.
type outbox struct {
	items map[string]notify.Message
	lines map[string][]string              // line -> message ids in order
	lanes map[notify.Lane]map[string]int64 // line -> ms when its turn is
	held  map[string]heldLine              // line -> the attempt in flight
	tries map[string]int                   // message -> attempts begun
	sent  map[string]sentMessage           // what the provider took
	pace  map[notify.Channel]int64         // ms before which the ordinary lane waits
	pause map[notify.Channel]int64         // ms before which the channel waits
	spend map[int64]int                    // day -> segments
	chat  map[string]int64                 // person -> ms when their chat's last message would have gone
	shuts map[notify.Channel]circuit
	fence int64
}

// circuit is what is known of a channel whose provider seems dead; see finish.lua.
type circuit struct {
	troubles   int   // sends in a row that found it dead
	shut, down int64 // ms until when it is shut, and since when
	probe      int64 // fence of the message that tries it out
}

const circuitTroubles = 5

type heldLine struct {
	fence    int64
	since    int64 // 0 = nothing was sent
	till     int64
	segments int
}

type sentMessage struct {
	status, provider string
	message          notify.Message
	at               int64
}

func newOutbox() outbox {
	return outbox{
		items: map[string]notify.Message{}, lines: map[string][]string{}, lanes: map[notify.Lane]map[string]int64{},
		held: map[string]heldLine{}, tries: map[string]int{}, sent: map[string]sentMessage{},
		pace: map[notify.Channel]int64{}, pause: map[notify.Channel]int64{}, spend: map[int64]int{},
		chat: map[string]int64{}, shuts: map[notify.Channel]circuit{},
	}
}

// put enters a message at the end of its line.
func (o *outbox) put(msg notify.Message, now int64) {
	line := msg.Line()
	o.items[msg.ID] = msg
	o.lines[line] = append(o.lines[line], msg.ID)
	if len(o.lines[line]) == 1 {
		o.file(msg.Lane(), line, now)
	}
}

func (o *outbox) file(lane notify.Lane, line string, at int64) {
	if o.lanes[lane] == nil {
		o.lanes[lane] = map[string]int64{}
	}
	o.lanes[lane][line] = at
}

// settle takes a line's first message away and lets the next one step forward.
func (o *outbox) settle(line string, now int64) {
	head := o.items[o.lines[line][0]]
	delete(o.items, head.ID)
	delete(o.held, line)
	delete(o.tries, head.ID)
	delete(o.lanes[head.Lane()], line)
	if o.lines[line] = o.lines[line][1:]; len(o.lines[line]) == 0 {
		delete(o.lines, line)
		return
	}
	o.file(o.items[o.lines[line][0]].Lane(), line, now)
}

func segments(m notify.Message) int {
	if m.To.Channel() != notify.SMS {
		return 1
	}
	return max(1, notify.Segments(m.Text))
}

func metered(c notify.Channel) bool { return c == notify.SMS || c == notify.WhatsApp }

// due returns the lines of a lane whose turn is, in their order.
func (o *outbox) due(lane notify.Lane, now int64, most int) []string {
	var lines []string
	for line, at := range o.lanes[lane] {
		if at <= now {
			lines = append(lines, line)
		}
	}
	slices.SortFunc(lines, func(a, b string) int {
		return cmp.Or(cmp.Compare(o.lanes[lane][a], o.lanes[lane][b]), cmp.Compare(a, b))
	})
	return lines[:min(len(lines), max(0, most))]
}

func (o *outbox) untilNext(lane notify.Lane, now int64) int64 {
	wait := int64(idle)
	for _, at := range o.lanes[lane] {
		wait = min(wait, max(0, at-now))
	}
	return wait
}

// Lease hands out messages that may go out this instant; see notify.Outbox.
func (m *Memory) Lease(_ context.Context, channel notify.Channel, most int, hold time.Duration) (notify.Leased, error) {
	now := m.now()
	l := &leasing{Memory: m, channel: channel, now: now, hold: hold.Milliseconds()}
	shut := m.shuts[channel]
	pause := max(m.pause[channel], shut.shut)
	if pause > now && m.mutant != NoPause {
		if l.detour = shut.down > 0 && now-shut.down >= 30000; !l.detour {
			return notify.Leased{Wait: time.Duration(min(pause-now, idle)) * time.Millisecond}, nil
		}
	}
	if l.probing = !l.detour && shut.troubles >= circuitTroubles; l.probing {
		most = 1
	}
	lanes := notify.LanesOf(channel)
	if m.mutant == SafetyWaits {
		lanes[0], lanes[1] = lanes[1], lanes[0]
	}
	reach := func() int {
		if l.detour {
			return 500
		}
		return most - len(l.out)
	}
	for i, lane := range lanes {
		if len(l.out) == most || l.paced {
			break
		}
		for _, line := range m.due(lane, now, reach()) {
			if l.paced = i > 0 && m.pace[channel] > now && !l.detour; l.paced || len(l.out) == most {
				break
			}
			l.hand(lane, line)
		}
	}
	leased := notify.Leased{Items: l.out}
	if len(l.out) == 0 && !l.tidied {
		wait := min(m.untilNext(lanes[1], now), m.untilNext(lanes[2], now))
		if l.paced {
			wait = m.pace[channel] - now
		}
		wait = min(wait, m.untilNext(lanes[0], now), idle)
		if l.detour {
			wait = min(pause-now, idle)
		}
		leased.Wait = time.Duration(wait) * time.Millisecond
	}
	return leased, nil
}

type leasing struct {
	*Memory
	channel         notify.Channel
	now, hold       int64
	out             []notify.Lease
	tidied, paced   bool
	detour, probing bool
}

func (l *leasing) hand(lane notify.Lane, line string) {
	held := l.held[line]
	if held.till > l.now && l.mutant != NoLease {
		l.file(lane, line, held.till)
		return
	}
	urgent, person := lane == notify.LanesOf(l.channel)[0], notify.WhoseLine(line)
	if !urgent && len(l.lines[person+"!"]) > 0 && l.mutant != SafetyWaits {
		l.file(lane, line, l.now+1000)
		return
	}
	msg := l.items[l.lines[line][0]]
	if _, ok := l.sent[msg.ID]; ok {
		l.settle(line, l.now)
		l.tidied = true
		return
	}
	since := held.since
	if _, waits := l.items[msg.Edits]; waits {
		l.file(lane, line, l.now+1000)
		return
	}
	chatGap := l.chatGap()
	if turn := l.chat[person] - 2*chatGap; chatGap > 0 && !urgent && turn > l.now {
		l.file(lane, line, turn)
		return
	}
	state := l.state(person, msg, since)
	if l.detour {
		if msg.Class != notify.Safety && msg.Class != notify.Claim || msg.Also == "" {
			return
		}
		if state != notify.OptedOut {
			state = notify.Detour
		}
	}
	goes := state == notify.Fresh || state == notify.LeftOpen
	hold := l.hold
	if urgent {
		hold = min(hold, 15000)
	}
	l.file(lane, line, l.now+hold)
	if l.mutant == NoLease {
		l.file(lane, line, l.now)
	}
	lease := notify.Lease{State: state, Stands: line}
	lease.Message, lease.Attempt = msg, l.tries[msg.ID]
	cost := 0
	if goes {
		l.tries[msg.ID]++
		lease.Attempt = l.tries[msg.ID]
		cost = segments(msg)
		l.pay(cost)
		if chatGap > 0 {
			l.chat[person] = max(l.chat[person], l.now) + chatGap
		}
		if state == notify.Fresh {
			since = l.now
		}
	}
	l.fence++
	lease.Fence = l.fence
	l.held[line] = heldLine{l.fence, since, l.now + hold, cost}
	if l.probing && goes {
		l.probes()
	}
	if msg.Edits != "" {
		lease.EditsProvider = l.sent[msg.Edits].provider
	}
	if state == notify.LeftOpen {
		lease.Since = time.UnixMilli(since).UTC()
	}
	l.out = append(l.out, lease)
}

// chatGap is the time between two messages to one chat, in ms.
func (l *leasing) chatGap() int64 {
	if l.channel != notify.Telegram {
		return 0
	}
	return l.ChatPace.Milliseconds()
}

// probes notes that the message just handed out tries a shut channel out.
func (l *leasing) probes() {
	c := l.shuts[l.channel]
	c.probe, c.shut = l.fence, l.now+15000
	l.shuts[l.channel] = c
}

func (l *leasing) state(person string, msg notify.Message, since int64) notify.LeaseState {
	direct := msg.Class == notify.Safety || msg.Class == notify.Goodbye
	switch {
	case !direct && l.stop[person] && l.mutant != IgnoreStop:
		return notify.OptedOut
	case since > 0 && l.mutant != ForgetOpen:
		return notify.LeftOpen
	case metered(l.channel) && l.Fuse >= 0 && l.spend[l.now/86400000] >= l.Fuse && msg.Class != notify.Safety && l.mutant != NoFuse:
		return notify.Unfunded
	}
	return notify.Fresh
}

func (l *leasing) pay(n int) {
	l.pace[l.channel] = max(l.pace[l.channel], l.now) + l.Pace[l.channel].Milliseconds()*int64(n)
	if metered(l.channel) {
		l.spend[l.now/86400000] += n
	}
}

// Finish records how an attempt ended; see notify.Outbox.
func (m *Memory) Finish(_ context.Context, done notify.Done) error {
	now, msg, line := m.now(), done.Lease.Message, done.Lease.Stands
	held := m.held[line]
	how := done.Ending()
	head := ""
	if ids := m.lines[line]; len(ids) > 0 {
		head = ids[0]
	}
	if (held.fence != done.Lease.Fence || head != msg.ID) && (m.mutant != NoFence || head == "") {
		m.remember(done, how, now)
		return nil
	}
	switch how {
	case "later":
		delete(m.held, line)
		m.file(msg.Lane(), line, now+roundedUp(done.Result.After))
		if done.Unsent {
			m.tries[msg.ID]--
		}
	case "open":
		if after := roundedUp(done.Result.After); after > 0 {
			held.till = now + after
		}
		m.file(msg.Lane(), line, held.till)
		if done.Unsent {
			m.tries[msg.ID]--
		}
		m.held[line] = held
	default:
		m.settle(line, now)
		m.remember(done, how, now)
	}
	m.giveBack(done, how, held.segments, now)
	if pause := roundedUp(done.Result.After); done.Drop == "" && done.Result.End == notify.RetryLater && done.Result.Pause && pause > 0 {
		c := msg.To.Channel()
		m.pause[c] = max(m.pause[c], now+pause)
	}
	m.circuit(msg.To.Channel(), done.Sign(), done.Lease.Fence, now)
	return nil
}

// circuit shuts and opens a channel; see finish.lua.
func (m *Memory) circuit(channel notify.Channel, sign string, fence, now int64) {
	c := m.shuts[channel]
	switch {
	case sign == "works":
		delete(m.shuts, channel)
	case sign == "fails" && (c.troubles < circuitTroubles || c.probe == fence):
		if c.troubles++; c.troubles >= circuitTroubles {
			if c.down == 0 {
				c.down = now
			}
			c.shut = now + min(15000, int64(2000)<<min(c.troubles-circuitTroubles, 10))
		}
		m.shuts[channel] = c
	}
}

func roundedUp(d time.Duration) int64 { return int64((d + time.Millisecond - 1) / time.Millisecond) }

func (m *Memory) remember(done notify.Done, how string, now int64) {
	if how != "accepted" || done.Result.ProviderID == "" {
		return
	}
	status := m.sent[done.Lease.ID].status
	if m.sent[done.Lease.ID].provider != done.Result.ProviderID {
		status = ""
	}
	m.sent[done.Lease.ID] = sentMessage{status, done.Result.ProviderID, withoutText(done.Lease.Message), now}
}

func (m *Memory) giveBack(done notify.Done, how string, n int, now int64) {
	if n == 0 || !done.Unsent && (how == "accepted" || how == "open" || how == "doubted") {
		return
	}
	channel := done.Lease.To.Channel()
	if done.Unsent || how == "dropped" {
		m.pace[channel] = max(0, m.pace[channel]-m.Pace[channel].Milliseconds()*int64(n))
	}
	if day := now / 86400000; metered(channel) {
		m.spend[day] = max(0, m.spend[day]-n)
	}
}

func withoutText(m notify.Message) notify.Message {
	return notify.Message{
		ID: m.ID, Recipient: m.Recipient, Class: m.Class,
		Edits: m.Edits, Still: m.Still, NotAfter: m.NotAfter,
	}
}

// statusRank orders Twilio's words for what becomes of a message; see report.lua.
var statusRank = map[string]int{"accepted": 1, "scheduled": 1, "queued": 1, "sending": 2, "sent": 3,
	"delivered": 4, "undelivered": 4, "failed": 4, "read": 5}

func isFinal(status string) bool { return status == "undelivered" || status == "failed" }

// Report merges a delivery report; see bot.Store.
func (m *Memory) Report(_ context.Context, r bot.DeliveryReport) (*notify.Message, error) {
	known, ok := m.sent[r.Message]
	if r.Message == "" {
		return nil, nil
	}
	if !ok {
		item, waits := m.items[r.Message]
		if !waits || statusRank[r.Status] == 0 || r.ProviderID == "" {
			return nil, nil
		}
		known = sentMessage{provider: r.ProviderID, message: withoutText(item), at: m.now()}
	}
	switch {
	case r.ProviderID != "" && r.ProviderID != known.provider:
		return nil, nil
	case isFinal(r.Status) && known.status == r.Status:
		return &known.message, nil
	case statusRank[r.Status] <= statusRank[known.status]:
		return nil, nil
	}
	known.status = r.Status
	m.sent[r.Message] = known
	if isFinal(r.Status) {
		return &known.message, nil
	}
	return nil, nil
}
