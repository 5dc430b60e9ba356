package store

import (
	"context"
	_ "embed"
	"fmt"

	"github.com/redis/go-redis/v9"
)

var (
	//go:embed clock.lua
	clockLua string
	//go:embed outbox.lua
	outboxLua string

	//go:embed load.lua
	loadLua string
	//go:embed commit.lua
	commitLua string
	//go:embed lease.lua
	leaseLua string
	//go:embed finish.lua
	finishLua string
	//go:embed report.lua
	reportLua string
	//go:embed due.lua
	dueLua string
	//go:embed postpone.lua
	postponeLua string
	//go:embed hold.lua
	holdLua string
	//go:embed board.lua
	boardLua string
	//go:embed sweep.lua
	sweepLua string
	//go:embed errand.lua
	errandLua string
	//go:embed reseal.lua
	resealLua string
)

// scripts are the store's functions inside Redis; the head of each .lua file is its
// signature. All return a list of strings.
type scripts struct {
	load, commit, lease, finish, report, due, postpone, hold, board, sweep, errand, reseal *redis.Script
}

// scriptsWith puts clock in front of every script. Tests give another one than clockLua,
// since a real server's clock cannot be set.
func scriptsWith(clock string) scripts {
	script := func(parts string) *redis.Script { return redis.NewScript(clock + "\n" + parts) }
	return scripts{
		load:     script(loadLua),
		commit:   script(commitLua),
		lease:    script(outboxLua + "\n" + leaseLua),
		finish:   script(outboxLua + "\n" + finishLua),
		report:   script(reportLua),
		due:      script(dueLua),
		postpone: script(postponeLua),
		hold:     script(holdLua),
		board:    script(boardLua),
		sweep:    script(sweepLua),
		errand:   script(errandLua),
		reseal:   script(resealLua),
	}
}

// call runs a script by its hash, or by its text when the server has not seen it.
func (s *Store) call(ctx context.Context, script *redis.Script, keys []string, args ...any) ([]string, error) {
	if err := s.keys.sameTag(keys); err != nil {
		return nil, err
	}
	reply, err := script.Run(ctx, s.client, keys, args...).StringSlice()
	if err != nil {
		return nil, err
	}
	if len(reply) == 0 {
		return nil, fmt.Errorf("script returned nothing")
	}
	return reply, nil
}
