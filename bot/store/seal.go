package store

import (
	"crypto/aes"
	"crypto/cipher"
	"crypto/hkdf"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"

	"skepline/bot"
)

// What is written down of people (documents, cards, roster, errands, messages) is sealed with
// AES-256-GCM: a copy of Redis' memory or files tells nothing without SKEPLINE_SECRET. What
// stays readable is what scripts look at: versions, times, ids, counts. Ids of people are
// HMACs of their addresses (bot.PersonID); a catcher's id is the short word the roster gave.
//
// A sealed value is "~", eight hex digits that name the key, a random nonce of 12 bytes, the
// encrypted bytes, and a tag of 16. It is bound to its place, such as "d:call:x7…", so that
// one value cannot stand in for another. Nonces are drawn at random: one key is good for 2^32
// values (NIST SP 800-38D, section 8.3), a season of ten a second for thirteen years.

// sealMark begins a sealed value. JSON cannot begin with it, so what an earlier program wrote
// in plain JSON is told apart and still read.
const sealMark = '~'

const (
	sealHead = 1 + 8              // the mark and the key's name
	sealCost = sealHead + 12 + 16 // bytes that a sealed value is longer than its body
)

// place names where a document is kept, for its seal.
func place(key bot.Key) string { return "d:" + word(key) }

// ErrSealed is returned for a value whose key is not among the secrets given.
var ErrSealed = errors.New("sealed with a secret that is not in SKEPLINE_SECRET any more: put it back behind the newest one")

// seals are the keys made of the secrets. Nil seals nothing: for a store in memory.
type seals struct {
	newest string // head of what is sealed now, the mark and the key's name
	keys   map[string]cipher.AEAD
}

// sealsOf derives a key and its name from each secret (HKDF, RFC 5869), the newest first.
func sealsOf(secrets [][]byte) (*seals, error) {
	if len(secrets) == 0 {
		return nil, nil
	}
	s := &seals{keys: map[string]cipher.AEAD{}}
	for i, secret := range secrets {
		key, err := hkdf.Key(sha256.New, secret, nil, "skepline/seal", 32)
		if err != nil {
			return nil, fmt.Errorf("make a sealing key: %w", err)
		}
		name, err := hkdf.Key(sha256.New, secret, nil, "skepline/seal name", 4)
		if err != nil {
			return nil, fmt.Errorf("name a sealing key: %w", err)
		}
		block, err := aes.NewCipher(key)
		if err != nil {
			return nil, fmt.Errorf("make a sealing key: %w", err)
		}
		aead, err := cipher.NewGCMWithRandomNonce(block)
		if err != nil {
			return nil, fmt.Errorf("make a sealing key: %w", err)
		}
		head := string(sealMark) + hex.EncodeToString(name)
		s.keys[head] = aead
		if i == 0 {
			s.newest = head
		}
	}
	return s, nil
}

// seal appends body to b, sealed for its place. An empty body stays empty: it means "none".
func (s *seals) seal(b []byte, place string, body []byte) []byte {
	if s == nil || len(body) == 0 {
		return append(b, body...)
	}
	return s.keys[s.newest].Seal(append(b, s.newest...), nil, body, []byte(place))
}

// text is seal for a value of its own.
func (s *seals) text(place string, body []byte) string { return string(s.seal(nil, place, body)) }

// open returns what was sealed for this place. What was never sealed comes back as it is.
func (s *seals) open(place string, stored []byte) ([]byte, error) {
	if len(stored) == 0 || stored[0] != sealMark {
		return stored, nil
	}
	if s == nil || len(stored) < sealHead {
		return nil, ErrSealed
	}
	aead, known := s.keys[string(stored[:sealHead])]
	if !known {
		return nil, ErrSealed
	}
	body, err := aead.Open(nil, nil, stored[sealHead:], []byte(place))
	if err != nil {
		return nil, fmt.Errorf("its seal is broken, for somebody changed it or moved it here from another place: %w", bot.ErrBroken)
	}
	return body, nil
}

// current reports whether a value is sealed under the newest key.
func (s *seals) current(stored []byte) bool {
	return s == nil || len(stored) >= sealHead && string(stored[:sealHead]) == s.newest
}
