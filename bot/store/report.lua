-- Merges a delivery report into its message.
--
-- KEYS[1] item  [2] sent  [3] sent:at
-- ARGV[1] message id  [2] provider id  [3] status
-- ARGV[4] the message without its text, '' when the caller has not seen it yet
-- Output  {'unknown'}        no such message, or a report on another copy of it
--         {'merged'}         nothing more to do
--         {'failed', json}   the final failure of this message, json without its text
--         {'item', item}     the report came before the send was recorded: call again with
--                            the item's message in ARGV[4]
--
-- The same failure reported again is returned again: its first return may have come to
-- nothing, and the event made of it has the same id.
local ITEM, SENT, SENTAT = KEYS[1], KEYS[2], KEYS[3]
local id, provider, status = ARGV[1], ARGV[2], ARGV[3]

-- Twilio's words for what becomes of a message, in the order in which they follow each
-- other. Reports overtake each other on the way; a later stage is never taken back.
local rank = {accepted = 1, scheduled = 1, queued = 1, sending = 2, sent = 3,
  delivered = 4, undelivered = 4, failed = 4, read = 5}
local final = {undelivered = true, failed = true}

local known = redis.call('HGET', SENT, id)
if not known then
  local item = redis.call('HGET', ITEM, id)
  if not item or not rank[status] or provider == '' then return {'unknown'} end
  if ARGV[4] == '' then return {'item', item} end
  known = '- ' .. provider .. ' ' .. ARGV[4]
end
local before, sentas, json = string.match(known, '^(%S+) (%S+) (.*)$')
if provider ~= '' and provider ~= sentas then return {'unknown'} end
if final[status] and before == status then return {'failed', json} end
if (rank[status] or 0) <= (rank[before] or 0) then return {'merged'} end
redis.call('ZADD', SENTAT, 'NX', digits(clock()), id)
redis.call('HSET', SENT, id, status .. ' ' .. sentas .. ' ' .. json)
if final[status] then return {'failed', json} end
return {'merged'}
