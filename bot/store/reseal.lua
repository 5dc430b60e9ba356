-- Puts a newly sealed value in the place of one that has not moved since it was read. The
-- words inside are the same, so nobody's version changes.
--
-- KEYS[1] a document or a hash
-- ARGV[1] the hash's field, '' for a document  [2] value as read  [3] value to be
-- Output  {'done'}, or {'moved'} when something else stands there now
local field, was, becomes = ARGV[1], ARGV[2], ARGV[3]
local is
if field == '' then is = redis.call('GET', KEYS[1]) else is = redis.call('HGET', KEYS[1], field) end
if is ~= was then return {'moved'} end
if field == '' then redis.call('SET', KEYS[1], becomes) else redis.call('HSET', KEYS[1], field, becomes) end
return {'done'}
