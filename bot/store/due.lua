-- Reads the timers whose time has come. It moves nothing: a timer is an event with an id,
-- so two readers do no harm, and the commit of that event clears or moves it.
--
-- KEYS[1] due:timers  [2] timer
-- ARGV[1] most timers to read
-- Output  {ms until the next timer after these, at most a minute; then "<n> <json>" for each}
local IDLE = 60000
local now = clock()
local most = tonumber(ARGV[1])
local out = {''}
local ids = redis.call('ZRANGEBYSCORE', KEYS[1], '-inf', digits(now), 'LIMIT', 0, most)
for _, id in ipairs(ids) do
  local value = redis.call('HGET', KEYS[2], id)
  if value then out[#out + 1] = value end
end
local rest = redis.call('ZRANGE', KEYS[1], #ids, #ids, 'WITHSCORES')
local wait = rest[2] and math.max(0, tonumber(rest[2]) - now) or IDLE
out[1] = digits(math.min(wait, IDLE))
return out
