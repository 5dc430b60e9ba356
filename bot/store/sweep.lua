-- Clears away what nobody can ask for any more.
--
-- KEYS[1..3] seen ring  [4] sent  [5] sent:at  [6] spend  [7] chat
-- ARGV[1] ms for which sent messages are remembered
-- ARGV[2] most of them to clear in one call
-- Output  {how many sent messages were cleared}
local now = clock()
-- Of the ring's three hashes the current and the previous one are read; the third is the
-- next to be used and holds what is eight days old.
redis.call('UNLINK', KEYS[bucket(now, -1)])
local old = redis.call('ZRANGEBYSCORE', KEYS[5], '-inf', digits(now - tonumber(ARGV[1])), 'LIMIT', 0, tonumber(ARGV[2]))
for _, id in ipairs(old) do
  redis.call('ZREM', KEYS[5], id)
  redis.call('HDEL', KEYS[4], id)
end
local chats = redis.call('HGETALL', KEYS[7])
for i = 1, #chats, 2 do
  if tonumber(chats[i + 1]) < now - 60000 then redis.call('HDEL', KEYS[7], chats[i]) end
end
local yesterday = math.floor(now / 86400000) - 1
for _, day in ipairs(redis.call('HKEYS', KEYS[6])) do
  if tonumber(day) < yesterday then redis.call('HDEL', KEYS[6], day) end
end
return {digits(#old)}
