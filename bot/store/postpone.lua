-- Puts off a timer that could not be handled; it stays the same timer at the same n. One
-- that was set anew meanwhile is left alone: its event was committed after all, and only
-- the answer to that got lost.
--
-- KEYS[1] due:timers  [2] timer
-- ARGV[1] timer id  [2] n  [3] ms from now
-- Output  {'done'}, also when there is no such timer
local value = redis.call('HGET', KEYS[2], ARGV[1])
if value and string.match(value, '^%d+') ~= ARGV[2] then return {'done'} end
if redis.call('ZREM', KEYS[1], ARGV[1]) == 1 then -- first, so that a full Redis lets it run
  redis.call('ZADD', KEYS[1], digits(clock() + tonumber(ARGV[3])), ARGV[1])
end
return {'done'}
