-- Records how an attempt ended and lets the next message of the line step forward.
--
-- KEYS    see outbox.lua
-- ARGV[1] line  [2] message id  [3] fence
-- ARGV[4] the message is done: 'accepted', 'refused' (handed over, not taken), 'dropped' (not
--         handed over) or 'doubted' (nobody knows, and it is left at that);
--         it stays: 'later' (not taken, may be later) or 'open' (nobody knows; it comes
--         back as left open)
-- ARGV[5] ms to wait, with later and open; with open 0 = until the lease runs out
-- ARGV[6] provider id, '' = none
-- ARGV[7] the message without its text, kept with the provider id
-- ARGV[8] channel  [9] ms for which the whole channel pauses, 0 = no pause
-- ARGV[10] ms between two segments of the channel's sender
-- ARGV[11] '1' if segments cost money and are counted
-- ARGV[12] '1' if nothing was handed over this time: how is the end of an earlier attempt
-- ARGV[13] 'works' if the provider answered, 'fails' if it seems dead, '' if this says nothing
-- Output  {'done'}, or {'stale'} when the line is no longer held under this fence
local line, id, fence, how, delay = ARGV[1], ARGV[2], ARGV[3], ARGV[4], tonumber(ARGV[5])
local provider, channel, gap, metered = ARGV[6], ARGV[8], tonumber(ARGV[10]), ARGV[11] == '1'
local unsent = ARGV[12] == '1'
local now = clock()

-- remember keeps the provider id; a report that came before it keeps its status.
local function remember()
  if how ~= 'accepted' or provider == '' then return end
  local status, known = string.match(redis.call('HGET', SENT, id) or '', '^(%S+) (%S+) ')
  if known ~= provider then status = '-' end
  file(SENTAT, id, now)
  redis.call('HSET', SENT, id, status .. ' ' .. provider .. ' ' .. ARGV[7])
end

-- giveback returns the money of what was not taken, and the sender's rate with it when
-- nothing was handed over at all.
local function giveback(segments)
  if segments == 0 then return end
  if not unsent and (how == 'accepted' or how == 'open' or how == 'doubted') then return end
  if unsent or how == 'dropped' then
    redis.call('HSET', PACE, channel, string.format('%.3f', math.max(0, number(PACE, channel) - gap * segments)))
  end
  local day = digits(math.floor(now / 86400000))
  if metered then
    redis.call('HSET', SPEND, day, digits(math.max(0, number(SPEND, day) - segments)))
  end
end

-- circuit shuts a channel whose provider is dead, for longer each time that the one message
-- which tries it out fails, and opens it when one gets through. down is when it was shut.
local function circuit(sign)
  local troubles, shut, down, probe = 'troubles:' .. channel, 'shut:' .. channel, 'down:' .. channel, 'probe:' .. channel
  local n = number(PACE, troubles)
  if sign == 'works' and n > 0 then
    redis.call('HDEL', PACE, troubles, shut, down, probe)
  elseif sign == 'fails' then
    -- What was on its way when the channel was shut says nothing new.
    if n >= TROUBLES and redis.call('HGET', PACE, probe) ~= fence then return end
    n = redis.call('HINCRBY', PACE, troubles, 1)
    if n < TROUBLES then return end
    if number(PACE, down) == 0 then redis.call('HSET', PACE, down, digits(now)) end
    redis.call('HSET', PACE, shut, digits(now + math.min(60000, 2000 * 2 ^ math.min(n - TROUBLES, 10))))
  end
end

local current, since, till, segments = leaseof(line)
local entry, first, item = head(line)
if current ~= fence or first ~= id then
  remember()
  return {'stale'}
end

if how == 'later' then
  redis.call('HDEL', HELD, line)
  file(laneof(item), line, now + delay)
  if unsent then redis.call('HINCRBY', TRIES, id, -1) end
elseif how == 'open' then
  if delay > 0 then till = now + delay end
  file(laneof(item), line, till)
  if unsent then
    redis.call('HINCRBY', TRIES, id, -1) -- looking costs the message no attempt
  end
  redis.call('HSET', HELD, line, table.concat({fence, digits(since), digits(till), digits(segments)}, ' '))
else
  settle(line, entry, id, item, now)
  remember()
end
giveback(segments)
local pause = tonumber(ARGV[9])
if pause > 0 then
  local field = 'pause:' .. channel
  redis.call('HSET', PACE, field, digits(math.max(number(PACE, field), now + pause)))
end
circuit(ARGV[13])
return {'done'}
