-- Reads the roster, unless the caller has this version of it already.
--
-- KEYS[1] meta  [2] roster
-- ARGV[1] the version that the caller has
-- Output  {version}, followed by id and json of every catcher when the version is another one
local version = redis.call('HGET', KEYS[1], 'roster') or '0'
local out = {version}
if version == ARGV[1] then return out end
for _, v in ipairs(redis.call('HGETALL', KEYS[2])) do out[#out + 1] = v end
return out
