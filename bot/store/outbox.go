package store

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"

	json "github.com/goccy/go-json"

	"skepline/bot"
	"skepline/notify"
)

// Lease takes up to max messages that may go out this instant; see notify.Outbox. Safety
// messages come first and wait neither for the sender's rate nor for the day's money, only
// for a pause that the provider asked for. A message that cannot be read keeps its line
// and is passed over; it is an error once there is nothing else to hand out.
func (s *Store) Lease(ctx context.Context, channel notify.Channel, max int, hold time.Duration) (notify.Leased, error) {
	reply, err := s.call(ctx, s.scripts.lease, s.outboxKeys, string(channel), max, ms(hold),
		gap(s.pace(channel)), flag(metered(channel)), s.fuse(), ms(s.chatPace(channel)))
	if err != nil {
		return notify.Leased{}, fmt.Errorf("lease %s messages: %w", channel, err)
	}
	var leased notify.Leased
	var unread error
	wait, err := strconv.ParseInt(reply[0], 10, 64)
	leased.Wait = time.Duration(wait) * time.Millisecond
	for r := reply[1:]; err == nil && len(r) >= 8; r = r[8:] {
		lease, err := s.decodeLease(channel, r)
		if err != nil {
			unread = errors.Join(unread, err)
			continue
		}
		leased.Items = append(leased.Items, lease)
	}
	if len(leased.Items) == 0 && unread != nil {
		return notify.Leased{}, fmt.Errorf("lease %s messages: %w", channel, unread)
	}
	return leased, err
}

// decodeLease reads the eight strings that lease.lua returns for a message.
func (s *Store) decodeLease(channel notify.Channel, r []string) (notify.Lease, error) {
	id, state, provider, item := r[1], r[3], r[6], r[7]
	fence, _ := strconv.ParseInt(r[2], 10, 64)
	attempt, _ := strconv.Atoi(r[4])
	since, _ := strconv.ParseInt(r[5], 10, 64)
	m, err := s.seals.decodeItem(id, item)
	switch {
	case errors.Is(err, ErrSealed):
		return notify.Lease{}, fmt.Errorf("message %s cannot be read: %w", id, err)
	case err != nil:
		m, state = remains(channel, r[0], id, item), string(notify.Unreadable)
	}
	lease := notify.Lease{
		Outgoing: notify.Outgoing{Message: m, EditsProvider: provider, Attempt: attempt},
		Fence:    fence,
		State:    notify.LeaseState(state),
		Stands:   r[0],
	}
	if lease.State == notify.LeftOpen {
		lease.Since = time.UnixMilli(since).UTC()
	}
	return lease, nil
}

// remains is what line and head tell of a message whose body is broken.
func remains(channel notify.Channel, line, id, item string) notify.Message {
	m := notify.Message{ID: id, To: notify.Address(channel + ":"), Recipient: notify.WhoseLine(line), Class: notify.News}
	if strings.HasSuffix(line, "!") {
		m.Class = notify.Safety
	} else if head := strings.Fields(item); len(head) > 1 {
		m.Class = notify.Class(strings.TrimSuffix(head[1], "+"))
	}
	return m
}

// Finish records how an attempt ended; see notify.Outbox. An ambiguous end that is not
// dropped leaves the attempt open: the message comes back as LeftOpen after Result.After,
// or when its lease runs out if that is 0.
func (s *Store) Finish(ctx context.Context, done notify.Done) error {
	m := done.Lease.Message
	slim, err := s.seals.slim(m)
	if err != nil {
		return fmt.Errorf("finish message %s: %w", m.ID, err)
	}
	channel := m.To.Channel()
	var pause time.Duration
	if done.Drop == "" && done.Result.End == notify.RetryLater && done.Result.Pause {
		pause = done.Result.After
	}
	_, err = s.call(ctx, s.scripts.finish, s.outboxKeys,
		done.Lease.Stands, m.ID, strconv.FormatInt(done.Lease.Fence, 10), done.Ending(), ms(done.Result.After),
		done.Result.ProviderID, slim, string(channel), ms(pause), gap(s.pace(channel)), flag(metered(channel)), flag(done.Unsent), done.Sign())
	if err != nil {
		return fmt.Errorf("finish message %s: %w", m.ID, err)
	}
	return nil
}

// Report merges a delivery report into its message; see bot.Store. The same failure
// reported again is returned again, since the first return may have come to nothing; the
// event made of it has the same id and counts once.
func (s *Store) Report(ctx context.Context, r bot.DeliveryReport) (*notify.Message, error) {
	if r.Message == "" || strings.ContainsAny(r.ProviderID, " \n") {
		return nil, nil
	}
	reply, err := s.report(ctx, r, "")
	if err == nil && reply[0] == "item" {
		var m notify.Message
		if m, err = s.seals.decodeItem(r.Message, reply[1]); err == nil {
			var slim string
			if slim, err = s.seals.slim(m); err == nil {
				reply, err = s.report(ctx, r, slim)
			}
		}
	}
	if err != nil {
		return nil, fmt.Errorf("report on message %s: %w", r.Message, err)
	}
	if reply[0] != "failed" {
		return nil, nil
	}
	var m notify.Message
	body, err := s.seals.open("sent:"+r.Message, []byte(reply[1]))
	if err == nil {
		err = json.Unmarshal(body, &m)
	}
	if err != nil {
		return nil, fmt.Errorf("report on message %s: %w", r.Message, err)
	}
	return &m, nil
}

func (s *Store) report(ctx context.Context, r bot.DeliveryReport, slim string) ([]string, error) {
	return s.call(ctx, s.scripts.report, s.keys.list("item", "sent", "sent:at"),
		r.Message, r.ProviderID, r.Status, slim)
}

// encodeItem writes a message as it waits in the outbox. What the scripts must know stands
// in front of the JSON; a plus after the class says that there is a second address.
func (s *seals) encodeItem(m notify.Message) (string, error) {
	b, err := json.Marshal(m)
	if err != nil {
		return "", fmt.Errorf("message %s: %w", m.ID, err)
	}
	class, edits := string(m.Class), m.Edits
	if edits == "" {
		edits = "-"
	}
	if m.Also != "" {
		class += "+"
	}
	return strings.Join([]string{string(m.Lane()), class, strconv.Itoa(segments(m)), edits, s.text("item:"+m.ID, b)}, " "), nil
}

func (s *seals) decodeItem(id, item string) (m notify.Message, err error) {
	parts := strings.SplitN(item, " ", 5)
	if len(parts) != 5 {
		return m, errors.New("its head is cut short")
	}
	body, err := s.open("item:"+id, []byte(parts[4]))
	if err != nil {
		return m, err
	}
	return m, json.Unmarshal(body, &m)
}

// slim writes what is kept of a message once the provider has it.
func (s *seals) slim(m notify.Message) (string, error) {
	b, err := json.Marshal(withoutText(m))
	return s.text("sent:"+m.ID, b), err
}

// withoutText is what is kept of a message once the provider has it: nothing that a person
// said, wrote or showed, and no number. Whose it was the recipient's id says, as long as
// their document does.
func withoutText(m notify.Message) notify.Message {
	return notify.Message{
		ID: m.ID, Recipient: m.Recipient, Class: m.Class,
		Edits: m.Edits, Still: m.Still, NotAfter: m.NotAfter,
	}
}

// segments is what a message takes of its sender's rate and the day's money: an SMS its
// segments, anything else 1.
func segments(m notify.Message) int {
	if m.To.Channel() != notify.SMS {
		return 1
	}
	return max(1, notify.Segments(m.Text))
}

// metered reports whether a channel's messages cost money.
func metered(channel notify.Channel) bool {
	return channel == notify.SMS || channel == notify.WhatsApp
}

func (s *Store) pace(channel notify.Channel) time.Duration {
	if gap, ok := s.opts.Pace[channel]; ok {
		return gap
	}
	return DefaultPace[channel]
}

// gap writes a pace in milliseconds, with parts of one: a fast sender has many segments in each.
func gap(pace time.Duration) string { return strconv.FormatFloat(pace.Seconds()*1000, 'f', 3, 64) }

// chatPace is the time between two messages to one person, 0 = as fast as the channel goes.
func (s *Store) chatPace(channel notify.Channel) time.Duration {
	if channel != notify.Telegram {
		return 0
	}
	return max(0, cmp.Or(s.opts.ChatPace, DefaultChatPace))
}

// fuse is the number of segments of a day after which only safety goes out, -1 = no limit.
func (s *Store) fuse() int {
	if s.opts.Fuse.SegmentsADay <= 0 {
		return -1
	}
	return max(0, s.opts.Fuse.SegmentsADay-s.opts.Fuse.Reserve)
}

// ms writes a duration for a script, rounded up so that a short one is not none.
func ms(d time.Duration) int64 {
	return int64((d + time.Millisecond - 1) / time.Millisecond)
}
