package store

import (
	"fmt"
	"slices"
	"strings"

	"skepline/bot"
	"skepline/notify"
)

// checkChange refuses a change that cannot be stored as it is meant. Every refusal is a
// mistake in the program, none is a person's.
func checkChange(change bot.Change) error {
	switch {
	case change.Event == "":
		return fmt.Errorf("a change without an event id")
	case len(change.Outcome) > maxOutcome:
		return fmt.Errorf("%w: an outcome of %d bytes", ErrTooLarge, len(change.Outcome))
	case strings.ContainsAny(change.Payload, " \n"):
		return fmt.Errorf("a payload hash with spaces")
	case len(change.Messages) > maxMessages:
		return fmt.Errorf("%w: %d messages", ErrTooLarge, len(change.Messages))
	case len(change.Documents)+len(change.Checks) > maxDocuments:
		return fmt.Errorf("%w: %d documents", ErrTooLarge, len(change.Documents)+len(change.Checks))
	}
	if err := checkDocuments(change.Documents); err != nil {
		return err
	}
	for _, check := range change.Checks {
		if check.Key.Kind == "" || check.Key.ID == "" {
			return fmt.Errorf("a check of no document")
		}
	}
	if err := checkTimers(change); err != nil {
		return err
	}
	for _, e := range change.Errands {
		if e.ID == "" || e.Event() == change.Event {
			return fmt.Errorf("an errand without an id of its own")
		}
	}
	return checkMessages(change.Messages)
}

func checkDocuments(docs []bot.Document) error {
	var known []bot.Key
	for _, d := range docs {
		if d.Key.Kind == "" || d.Key.ID == "" {
			return fmt.Errorf("a document without a kind or an id")
		}
		if slices.Contains(known, d.Key) {
			return fmt.Errorf("the %s document %s is written twice", d.Key.Kind, d.Key.ID)
		}
		known = append(known, d.Key)
		if p := d.Pointer; p != nil && (p.Kind == "" || p.ID == "" || strings.ContainsAny(word(*p), " \n")) {
			return fmt.Errorf("the %s document %s points nowhere", d.Key.Kind, d.Key.ID)
		}
	}
	return nil
}

func checkTimers(change bot.Change) error {
	for _, t := range change.Timers {
		if t.ID == "" {
			return fmt.Errorf("a timer without an id")
		}
		if !t.Clear && t.Event() == change.Event {
			// Its event is seen already, so it would go off for ever and do nothing.
			return fmt.Errorf("the timer %s sets itself again without counting up", t.ID)
		}
	}
	return nil
}

func checkMessages(messages []notify.Message) error {
	known := map[string]bool{}
	for _, m := range messages {
		switch {
		case m.ID == "" || strings.ContainsAny(m.ID+m.Edits, " \n"):
			return fmt.Errorf("the message id %q cannot be stored", m.ID)
		case known[m.ID]:
			return fmt.Errorf("two messages are called %s", m.ID)
		case m.Recipient == "" || strings.ContainsAny(m.Recipient, "|! \n"):
			return fmt.Errorf("message %s: the recipient's id cannot be stored", m.ID)
		case !slices.Contains(notify.Channels, m.To.Channel()):
			return fmt.Errorf("message %s: no such channel as %q", m.ID, m.To.Channel())
		case m.Class == "" || strings.ContainsAny(string(m.Class), " \n"):
			return fmt.Errorf("message %s: a message without a class", m.ID)
		}
		known[m.ID] = true
	}
	return nil
}
