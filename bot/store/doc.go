// Package store keeps one hotline in Redis: it fills bot.Store and notify.Outbox. Start at
// Open, then Commit.
//
// Every change is one Lua script, so it happens whole or not at all. The rules that all
// the .lua files keep:
//
//   - Everything is checked before the first write, since Redis rolls nothing back.
//   - The first write of a commit is one that a full Redis refuses (HSET); the first write
//     of what drains work is one that it never refuses (ZREM, HDEL). Redis looks at its
//     memory limit only before a script's first write.
//   - Documents and messages are opaque bytes, sealed (seal.go). Ids and times travel as strings, and no script
//     uses cjson, which differs between servers and spoils long numbers.
//   - Time is Redis TIME. Nothing relies on a key expiring: times are stored and compared.
//   - Every key carries the hotline's hash tag, so that a Redis Cluster keeps one hotline in
//     one slot. Only commands of Redis 7.0 and older are used.
//
// clock.lua is put in front of every script, outbox.lua in front of those that move
// messages. The embedded Redis (miniredis) of rehearsals runs the very same scripts.
package store
