package store

import (
	"bytes"
	"context"
	"fmt"
	"strings"

	"github.com/redis/go-redis/v9"
)

// Seals counts what a store keeps of people, by how it is sealed.
type Seals struct {
	Newest int // under the newest secret
	Older  int // under another one of those given
	Plain  int // not at all: an earlier program wrote it
	Lost   int // cannot be opened: its secret is not given, or somebody changed it
}

// sealedHashes are the hashes of sealed values, with how many words stand before the sealed
// part of each; a document has two.
var sealedHashes = []struct {
	name  string
	words int
}{{"board", 0}, {"roster", 0}, {"errand", 0}, {"item", 4}, {"sent", 2}}

// Seals looks at every sealed value. It takes seconds on a big store and holds up nobody.
func (s *Store) Seals(ctx context.Context) (Seals, error) {
	var found Seals
	return found, s.everySealed(ctx, func(v sealedValue) error {
		s.count(&found, v)
		return nil
	})
}

// Reseal seals anew what is not under the newest secret, so that older ones can be given up;
// it returns what it found. What somebody else writes meanwhile is left alone: they seal it.
func (s *Store) Reseal(ctx context.Context) (Seals, error) {
	var found Seals
	return found, s.everySealed(ctx, func(v sealedValue) error {
		body, ok := s.count(&found, v)
		if !ok || s.seals.current(v.sealed) {
			return nil
		}
		becomes := s.seals.seal(bytes.Clone(v.head), v.place, body)
		_, err := s.call(ctx, s.scripts.reseal, []string{v.key}, v.field, string(v.head)+string(v.sealed), string(becomes))
		return err
	})
}

// sealedValue is one value of the store: the words before its sealed part, and that part.
type sealedValue struct {
	key, field   string // field is "" for a document
	place        string
	head, sealed []byte
}

// count enters v and returns its body when it can be opened.
func (s *Store) count(found *Seals, v sealedValue) ([]byte, bool) {
	body, err := s.seals.open(v.place, v.sealed)
	switch {
	case err != nil:
		found.Lost++
	case s.seals.current(v.sealed):
		found.Newest++
	case len(v.sealed) > 0 && v.sealed[0] == sealMark:
		found.Older++
	default:
		found.Plain++
	}
	return body, err == nil
}

// everySealed shows do every value that is sealed, or should be, batch by batch.
func (s *Store) everySealed(ctx context.Context, do func(sealedValue) error) error {
	node, err := s.node(ctx)
	if err != nil {
		return fmt.Errorf("look at the seals: %w", err)
	}
	show := func(key, field, place, value string, words int) error {
		v := sealedValue{key: key, field: field, place: place, sealed: []byte(value)}
		for range words {
			_, rest, found := bytes.Cut(v.sealed, []byte(" "))
			if !found {
				return nil // none of ours; whoever reads it will say so
			}
			v.sealed = rest
		}
		v.head = []byte(value[:len(value)-len(v.sealed)])
		return do(v)
	}
	if err := s.everyDocument(ctx, node, show); err != nil {
		return fmt.Errorf("look at the seals: %w", err)
	}
	for _, hash := range sealedHashes {
		key := s.keys.of(hash.name)
		err := scan(func(cursor uint64) ([]string, uint64, error) {
			return node.HScan(ctx, key, cursor, "", scanBatch).Result()
		}, func(pairs []string) error {
			for ; len(pairs) >= 2; pairs = pairs[2:] {
				if err := show(key, pairs[0], hash.name+":"+pairs[0], pairs[1], hash.words); err != nil {
					return err
				}
			}
			return nil
		})
		if err != nil {
			return fmt.Errorf("look at the seals: %w", err)
		}
	}
	return nil
}

const scanBatch = 200

func (s *Store) everyDocument(ctx context.Context, node redis.Cmdable, show func(key, field, place, value string, words int) error) error {
	return scan(func(cursor uint64) ([]string, uint64, error) {
		return node.Scan(ctx, cursor, s.keys.of("d:*"), scanBatch).Result()
	}, func(names []string) error {
		if len(names) == 0 {
			return nil
		}
		values, err := node.MGet(ctx, names...).Result()
		if err != nil {
			return err
		}
		for i, name := range names {
			if value, ok := values[i].(string); ok {
				if err := show(name, "", strings.TrimPrefix(name, s.keys.prefix), value, 2); err != nil {
					return err
				}
			}
		}
		return nil
	})
}

// scan reads page after page until there are no more. Something may come twice.
func scan(page func(cursor uint64) ([]string, uint64, error), do func([]string) error) error {
	for cursor := uint64(0); ; {
		found, next, err := page(cursor)
		if err == nil {
			err = do(found)
		}
		if err != nil || next == 0 {
			return err
		}
		cursor = next
	}
}
