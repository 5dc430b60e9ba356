-- Reads what changed on the board since the caller last looked.
--
-- KEYS[1] meta  [2] board  [3] board:log
-- ARGV[1] the version of the board that the caller has, '' = none
-- Output  {roster version, board version, 'same'}
--         {…, 'some', field, card, field, card …}  '' where the card is gone
--         {…, 'all'}  too much has changed: read the whole board, after this
--
-- The board's version is how many fields were ever logged. The log is cut here and not in
-- commits, which need not look at its length then.
local KEEP, CUT = 4096, 8192
local roster = redis.call('HGET', KEYS[1], 'roster') or '0'
local gone, logged = tonumber(redis.call('HGET', KEYS[1], 'board') or '0'), redis.call('LLEN', KEYS[3])
local version, known = gone + logged, tonumber(ARGV[1])
local out = {roster, digits(version), 'same'}
if not known or known < gone or known > version then
  out[3] = 'all'
elseif known < version then
  out[3] = 'some'
  local fields, listed = {}, {}
  for _, field in ipairs(redis.call('LRANGE', KEYS[3], known - version, -1)) do
    if not listed[field] then
      listed[field] = true
      fields[#fields + 1] = field
    end
  end
  for from = 1, #fields, 1000 do
    local till = math.min(from + 999, #fields)
    local cards = redis.call('HMGET', KEYS[2], unpack(fields, from, till))
    for i = from, till do
      out[#out + 1] = fields[i]
      out[#out + 1] = cards[i - from + 1] or ''
    end
  end
end
if logged > CUT then
  redis.call('LTRIM', KEYS[3], -KEEP, -1) -- first, so that a full Redis lets it run
  redis.call('HSET', KEYS[1], 'board', digits(version - KEEP))
end
return out
