-- Hands out messages of one channel that may be sent this instant, safety first and changes of
-- old messages last, and holds their lines. The lease is the record that an attempt began.
--
-- KEYS    see outbox.lua
-- ARGV[1] channel
-- ARGV[2] most messages to hand out
-- ARGV[3] ms for which their lines are held
-- ARGV[4] ms between two segments of the channel's sender, with parts of one
-- ARGV[5] '1' if segments cost money and are counted
-- ARGV[6] segments of a day after which only safety goes out, -1 = no such limit
-- ARGV[7] ms between two messages to one chat, 0 = no such limit
-- Output  {wait ms}, then for each message eight strings: line, message id, fence, state,
--         attempt, since ms, provider id of the message that it edits, item
local channel, most, hold = ARGV[1], tonumber(ARGV[2]), tonumber(ARGV[3])
local gap, metered, limit = tonumber(ARGV[4]), ARGV[5] == '1', tonumber(ARGV[6])
local SAFETYHOLD = 15000 -- a safety line is held no longer: its sender may have died
local PROBE = 15000 -- ms that a shut channel waits for the one message that tries it out
local DOWN = 30000 -- ms that a channel is shut before its messages take another way
local CHATBURST = 2 -- messages that a chat may get at once beyond the first
local AFTERSAFETY = 1000 -- ms that a line rests while a safety message of the same person waits
local AFTERFIRST = 1000 -- ms that a change rests while the message that it changes waits
local IDLE = 60000 -- the longest wait told

local now = clock()
local today = digits(math.floor(now / 86400000))
local chatgap = tonumber(ARGV[7])

-- A channel waits while its provider asks for it, or while its circuit is open: see finish.lua.
local pause = math.max(number(PACE, 'pause:' .. channel), number(PACE, 'shut:' .. channel))
local down = number(PACE, 'down:' .. channel)
-- What matters and has a second address does not wait for the first one any longer.
local detour = pause > now and down > 0 and now - down >= DOWN
if pause > now and not detour then return {digits(math.min(pause - now, IDLE))} end
-- One message tries a shut channel out.
local probing = not detour and number(PACE, 'troubles:' .. channel) >= TROUBLES
if probing then most = 1 end

-- free is when the sender's rate lets the next segment go (a GCRA, the leaky bucket of
-- ITU-T I.371 as a meter): a message of s segments moves it on by s gaps.
local free = number(PACE, channel)
local spent = metered and number(SPEND, today) or 0
local out, handed, tidied, paced = {''}, 0, false, false

local safety, ordinary, changes = LANES[channel .. '!'], LANES[channel], LANES[channel .. '~']

local function stateof(person, class, since)
  local direct = class == 'safety' or class == 'goodbye'
  if not direct and redis.call('SISMEMBER', STOP, person) == 1 then return 'opted_out' end
  if since > 0 then return 'left_open' end
  if metered and limit >= 0 and spent >= limit and class ~= 'safety' then return 'unfunded' end
  return 'fresh'
end

-- pay takes a message's segments from the sender's rate and the day's money.
local function pay(segments)
  free = math.max(free, now) + gap * segments
  redis.call('HSET', PACE, channel, string.format('%.3f', free))
  if metered then spent = redis.call('HINCRBY', SPEND, today, segments) end
end

local function hand(lane, line)
  local entry, id, item = head(line)
  if not entry then
    redis.call('ZREM', lane, line)
    tidied = true
    return
  end
  local person = string.match(line, '^(.-)[!~]?$')
  if lane ~= safety and head(person .. '!') then
    -- Whatever else there is to say to this person, safety is heard first.
    return file(lane, line, now + AFTERSAFETY)
  end
  if laneof(item) ~= lane then -- cannot happen; repaired all the same, or the line would never move
    redis.call('ZREM', lane, line)
    redis.call('ZADD', laneof(item), 'NX', digits(now), line)
    tidied = true
    return
  end
  local _, since, till = leaseof(line)
  if till and till > now then return file(lane, line, till) end
  if redis.call('HEXISTS', SENT, id) == 1 then
    -- A late answer or a delivery report has shown that the provider took an earlier attempt.
    settle(line, entry, id, item, now)
    tidied = true
    return
  end
  local class, also, segments, edits = string.match(item, '^%S+ ([^ +]+)(%+?) (%d+) (%S+) ')
  if edits ~= '-' and redis.call('HEXISTS', ITEM, edits) == 1 then return file(lane, line, now + AFTERFIRST) end
  if chatgap > 0 and lane ~= safety then
    local turn = number(CHAT, person) - CHATBURST * chatgap
    if turn > now then return file(lane, line, turn) end
  end
  local state = stateof(person, class, since or 0)
  if detour then
    if class ~= 'safety' and class ~= 'claim' or also == '' then return end
    if state ~= 'opted_out' then state = 'detour' end
  end
  local goes = state == 'fresh' or state == 'left_open'

  local hold = lane ~= safety and hold or math.min(hold, SAFETYHOLD)
  file(lane, line, now + hold)
  local attempt = number(TRIES, id)
  if goes then
    attempt = redis.call('HINCRBY', TRIES, id, 1)
    pay(tonumber(segments))
    if chatgap > 0 then redis.call('HSET', CHAT, person, digits(math.max(number(CHAT, person), now) + chatgap)) end
    if state == 'fresh' then since = now end
  end
  local fence = redis.call('HINCRBY', META, 'fence', 1)
  redis.call('HSET', HELD, line, table.concat(
    {digits(fence), digits(since or 0), digits(now + hold), goes and segments or '0'}, ' '))
  if probing and goes then
    redis.call('HSET', PACE, 'probe:' .. channel, digits(fence), 'shut:' .. channel, digits(now + PROBE))
  end
  local provider = ''
  if edits ~= '-' then
    provider = string.match(redis.call('HGET', SENT, edits) or '', '^%S+ (%S+) ') or ''
  end
  for _, v in ipairs({line, id, digits(fence), state, digits(attempt), digits(since or 0), provider, item}) do
    out[#out + 1] = v
  end
  handed = handed + 1
end

local function due(lane)
  local range = detour and 500 or most - handed -- most of them have no second address
  return redis.call('ZRANGEBYSCORE', lane, '-inf', digits(now), 'LIMIT', 0, range)
end

for _, lane in ipairs({safety, ordinary, changes}) do
  if handed == most or paced then break end
  for _, line in ipairs(due(lane)) do
    -- within this millisecond a fast sender has more than one segment
    paced = lane ~= safety and free >= now + 1 and not detour
    if paced or handed == most then break end
    hand(lane, line)
  end
end

-- untilnext returns how long until the first line of a lane has its turn.
local function untilnext(lane)
  local first = redis.call('ZRANGE', lane, 0, 0, 'WITHSCORES')
  return first[2] and math.max(0, tonumber(first[2]) - now) or IDLE
end
local wait = 0
if handed == 0 and not tidied then
  local ordinarywait = math.min(untilnext(ordinary), untilnext(changes))
  if paced then ordinarywait = free - now end
  wait = math.min(untilnext(safety), ordinarywait, IDLE)
  if detour then wait = math.min(pause - now, IDLE) end
end
out[1] = digits(wait)
return out
