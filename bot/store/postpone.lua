-- Puts off a timer that could not be handled; it stays the same timer at the same n.
--
-- KEYS[1] due:timers
-- ARGV[1] timer id  [2] ms from now
-- Output  {'done'}, also when there is no such timer
if redis.call('ZREM', KEYS[1], ARGV[1]) == 1 then -- first, so that a full Redis lets it run
  redis.call('ZADD', KEYS[1], digits(clock() + tonumber(ARGV[2])), ARGV[1])
end
return {'done'}
