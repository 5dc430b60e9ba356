package store

import (
	"bytes"
	"context"
	"fmt"
	"strconv"

	"skepline/bot"
)

// Load begins an event in one round trip; see bot.Store.
func (s *Store) Load(ctx context.Context, event bot.EventID, person, find string, strangers ...bot.Key) (bot.Loaded, error) {
	keys := s.keys.load(person)
	for _, k := range strangers {
		keys = append(keys, s.keys.document(k))
	}
	reply, err := s.call(ctx, s.scripts.load, keys, string(event), person, find, s.keys.of("d:"))
	if err != nil {
		return bot.Loaded{}, fmt.Errorf("load: %w", err)
	}
	if reply[0] == "seen" {
		return bot.Loaded{Seen: true, Outcome: bot.Outcome(reply[1])}, nil
	}
	loaded := bot.Loaded{Found: reply[4]}
	if person == "" {
		return loaded, nil
	}
	doc, err := s.decodeDocument(bot.Key{Kind: bot.KindPerson, ID: person}, reply[1])
	if err != nil {
		return bot.Loaded{}, err
	}
	loaded.Documents = append(loaded.Documents, doc)
	if doc.Pointer != nil {
		pointed, err := s.decodeDocument(*doc.Pointer, reply[3])
		if err != nil {
			return bot.Loaded{}, err
		}
		loaded.Documents = append(loaded.Documents, pointed)
	}
	for i, k := range strangers {
		if 5+i >= len(reply) {
			break // the person is known
		}
		doc, err := s.decodeDocument(k, reply[5+i])
		if err != nil {
			return bot.Loaded{}, err
		}
		loaded.Documents = append(loaded.Documents, doc)
	}
	return loaded, nil
}

// Documents returns the named documents in the order asked; see bot.Store.
func (s *Store) Documents(ctx context.Context, keys []bot.Key) ([]bot.Document, error) {
	if len(keys) == 0 {
		return nil, nil
	}
	names := make([]string, len(keys))
	for i, key := range keys {
		names[i] = s.keys.document(key)
	}
	values, err := s.client.MGet(ctx, names...).Result()
	if err != nil {
		return nil, fmt.Errorf("read documents: %w", err)
	}
	docs := make([]bot.Document, len(keys))
	for i, key := range keys {
		value, _ := values[i].(string)
		if docs[i], err = s.decodeDocument(key, value); err != nil {
			return nil, err
		}
	}
	return docs, nil
}

// Find returns the subject of a look-up entry; see bot.Store.
func (s *Store) Find(ctx context.Context, name string) (string, error) {
	subject, err := orEmpty(s.client.HGet(ctx, s.keys.of("find"), name).Result())
	if err != nil {
		return "", fmt.Errorf("look up: %w", err)
	}
	return subject, nil
}

// encodeDocument writes d as it is stored once its change is committed, "" to erase it.
func (s *Store) encodeDocument(d bot.Document) []byte {
	if len(d.Body) == 0 {
		return nil
	}
	pointer := "-"
	if d.Pointer != nil {
		pointer = word(*d.Pointer)
	}
	b := make([]byte, 0, len(d.Body)+len(pointer)+24+sealCost)
	b = strconv.AppendInt(b, d.Version+1, 10)
	b = append(b, ' ')
	b = append(b, pointer...)
	b = append(b, ' ')
	return s.seals.seal(b, place(d.Key), d.Body)
}

// decodeDocument reads a stored document; "" is one that is not stored yet.
func (s *Store) decodeDocument(key bot.Key, stored string) (bot.Document, error) {
	doc := bot.Document{Key: key}
	if stored == "" {
		return doc, nil
	}
	version, rest, _ := bytes.Cut([]byte(stored), []byte(" "))
	pointer, body, found := bytes.Cut(rest, []byte(" "))
	v, err := strconv.ParseInt(string(version), 10, 64)
	if err != nil || !found {
		return doc, fmt.Errorf("the %s document %s cannot be read: %w", key.Kind, key.ID, bot.ErrBroken)
	}
	doc.Version = v
	if doc.Body, err = s.seals.open(place(key), body); err != nil {
		return doc, fmt.Errorf("the %s document %s cannot be read: %w", key.Kind, key.ID, err)
	}
	if string(pointer) != "-" {
		to, ok := keyOf(string(pointer))
		if !ok {
			return doc, fmt.Errorf("the %s document %s points nowhere: %w", key.Kind, key.ID, bot.ErrBroken)
		}
		doc.Pointer = &to
	}
	return doc, nil
}
