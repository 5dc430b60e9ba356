-- Put in front of lease.lua and finish.lua, which take the same keys.
--
-- KEYS[1] line  [2] item  [3] held  [4] tries  [5] sent  [6] sent:at  [7] pace  [8] spend
-- KEYS[9] stop  [10] meta  [11] chat  [12…] due:<lane>, every lane

local TROUBLES = 5 -- sends in a row that found a provider dead before its channel is shut

local LINE, ITEM, HELD, TRIES, SENT, SENTAT, PACE, SPEND, STOP, META, CHAT = unpack(KEYS, 1, 11)

-- LANES maps a lane's name to its key.
local LANES = {}
for i = 12, #KEYS do
  LANES[string.match(KEYS[i], ':due:(.+)$')] = KEYS[i]
end

-- head returns the first message of a line: its entry in LINE, its id, its item. Entries
-- whose item is gone are cleared away.
local function head(line)
  while true do
    local entry = redis.call('ZRANGEBYLEX', LINE, '[' .. line .. '|', '(' .. line .. '}', 'LIMIT', 0, 1)[1]
    if not entry then return nil end
    local id = string.sub(entry, #line + 16) -- behind "<line>|<13 digits>|"
    local item = redis.call('HGET', ITEM, id)
    if item then return entry, id, item end
    redis.call('ZREM', LINE, entry)
  end
end

-- laneof returns the key of the lane that an item belongs to.
local function laneof(item)
  return LANES[string.match(item, '^%S+')]
end

-- lease reads who holds a line: fence, since (0 = nothing was sent), until, segments; all
-- nil when nobody does.
local function leaseof(line)
  local held = redis.call('HGET', HELD, line)
  if not held then return nil end
  local fence, since, till, segments = string.match(held, '^(%d+) (%d+) (%d+) (%d+)$')
  return fence, tonumber(since), tonumber(till), tonumber(segments)
end

-- settle takes a line's first message away and lets the next one step forward. It begins
-- with deletions, so that it also runs when Redis is full.
local function settle(line, entry, id, item, now)
  redis.call('HDEL', ITEM, id)
  redis.call('ZREM', LINE, entry)
  redis.call('HDEL', HELD, line)
  redis.call('HDEL', TRIES, id)
  redis.call('ZREM', laneof(item), line)
  local _, _, nextitem = head(line)
  if nextitem then redis.call('ZADD', laneof(nextitem), digits(now), line) end
end

-- file moves a line to a later place in its lane. ZREM goes first: a full Redis would
-- refuse a script that began with ZADD.
local function file(lane, line, at)
  redis.call('ZREM', lane, line)
  redis.call('ZADD', lane, digits(at), line)
end

-- number reads a whole number out of a hash, 0 when it is not there.
local function number(key, field)
  return tonumber(redis.call('HGET', key, field) or '0') or 0
end
