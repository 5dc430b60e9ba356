-- Takes, renews or gives back a named lease. Its end is stored and compared, since the
-- embedded Redis lets no key expire.
--
-- KEYS[1] hold
-- ARGV[1] name  [2] owner
-- ARGV[3] ms from now until it ends, 0 = give it back
-- Output  {'held'} when owner has it now, else {'not held'}
local now = clock()
local till, owner = string.match(redis.call('HGET', KEYS[1], ARGV[1]) or '', '^(%d+) (.*)$')
if owner and owner ~= ARGV[2] and tonumber(till) > now then return {'not held'} end
if ARGV[3] == '0' then
  if owner == ARGV[2] then redis.call('HDEL', KEYS[1], ARGV[1]) end
  return {'not held'}
end
redis.call('HSET', KEYS[1], ARGV[1], digits(now + tonumber(ARGV[3])) .. ' ' .. ARGV[2])
return {'held'}
