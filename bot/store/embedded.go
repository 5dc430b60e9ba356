package store

import (
	"context"
	"net"

	"github.com/alicebob/miniredis/v2"
	"github.com/redis/go-redis/v9"
	"github.com/redis/go-redis/v9/maintnotifications"
)

// OpenEmbedded makes a store that lives in memory and ends with the program, for rehearsals
// and tests. Its clock is the machine's until the caller sets it with SetTime.
func OpenEmbedded(hotline string) (*Store, *miniredis.Miniredis, error) {
	return OpenEmbeddedWith(Options{Hotline: hotline})
}

// OpenEmbeddedWith is OpenEmbedded with options of the caller's, for example another pace.
// The URL is not used.
func OpenEmbeddedWith(opts Options) (*Store, *miniredis.Miniredis, error) {
	server := miniredis.NewMiniRedis()
	client := redis.NewClient(&redis.Options{
		Dialer:                   func(context.Context, string, string) (net.Conn, error) { return server.Dial() },
		MaxRetries:               -1,
		ContextTimeoutEnabled:    true,
		DisableIdentity:          true,
		Protocol:                 2,
		MaintNotificationsConfig: &maintnotifications.Config{Mode: maintnotifications.ModeDisabled},
	})
	s, err := open(client, opts, clockLua)
	if err != nil {
		return nil, nil, err
	}
	s.embedded = server
	return s, server, nil
}
