-- Hands out the errand that waited longest, and leases it: its place in the lane becomes
-- the end of the lease. Its answer is an event, whose commit takes it away.
--
-- KEYS[1] due:errands  [2] errand  [3] pace
-- ARGV[1] ms for which it is leased  [2] ms between two errands, over all replicas
-- Output  {ms to wait} when there is none to make now, else {'0', id, json}
local IDLE = 60000
local now = clock()
local free = tonumber(redis.call('HGET', KEYS[3], 'errands') or '0') or 0
if free > now then return {digits(math.min(free - now, IDLE))} end
while true do
  local first = redis.call('ZRANGE', KEYS[1], 0, 0, 'WITHSCORES')
  if not first[1] then return {digits(IDLE)} end
  local due = tonumber(first[2])
  if due > now then return {digits(math.min(due - now, IDLE))} end
  redis.call('ZREM', KEYS[1], first[1]) -- first, so that a full Redis lets it run
  local json = redis.call('HGET', KEYS[2], first[1])
  if json then
    redis.call('ZADD', KEYS[1], digits(now + tonumber(ARGV[1])), first[1])
    redis.call('HSET', KEYS[3], 'errands', digits(now + tonumber(ARGV[2])))
    return {'0', first[1], json}
  end
end
