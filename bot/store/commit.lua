-- Commits one change: everything is checked, then everything is written, or nothing is.
--
-- KEYS[1..3] seen ring  [4] meta  [5] board  [6] roster  [7] find  [8] stop  [9] timer
-- KEYS[10] due:timers  [11] item  [12] line  [13] closed
-- KEYS[14…22] due:<lane>, every lane;  [23] errand  [24] due:errands  [25] board:log
-- KEYS[26…] documents
-- ARGV[1] event id  [2] payload hash  [3] outcome
-- ARGV[4…] operations, each a word and its arguments:
--   doc <n> <version> <value>      KEYS[n] is at version ('*' = any) and becomes value, '' erases it
--   check <n> <version>            KEYS[n] is at version
--   card <field> <body>            '' clears, here and below
--   roster <catcher> <body>
--   find <name> <subject>
--   stop <person> <1 or ''>
--   timer <id> <ms> <value>
--   fired <id> <n>                 clears the timer if it is still at n
--   errand <id> <value>            its turn is now
--   returned <id>                  the errand is done
--   msg <line> <lane> <id> <item>
--   closed <call> <ms>
-- Output {'ok', outcome}
--        {'seen', outcome of the first time, 'same' or 'other' payload}
--        {'conflict', key}         a document has moved
--        {'type', key}             a key holds something else than it should
--        {'malformed', word}       an operation cannot be read
--
-- It runs for every event, so it is one loop to check and one to write, and asks Redis for no
-- key twice.
local META, BOARD, ROSTER, FIND, STOP, TIMER, TIMERS, ITEM, LINE, CLOSED = unpack(KEYS, 4, 13)
local ERRAND, ERRANDS, LOG = KEYS[23], KEYS[24], KEYS[25]
local FIRSTDOCUMENT = 26
local ARGUMENTS = {doc = 3, check = 2, card = 2, roster = 2, find = 2, stop = 2, timer = 3, fired = 2,
  errand = 2, returned = 1, msg = 4, closed = 2}
local now = clock()
local seen = KEYS[bucket(now, 0)]

for back = 0, 1 do
  local first = redis.call('HGET', KEYS[bucket(now, back)], ARGV[1])
  if first then
    local payload, outcome = string.match(first, '^(%S+) (.*)$')
    return {'seen', outcome or '', payload == ARGV[2] and 'same' or 'other'}
  end
end

local lanes = {}
local function lane(name)
  if not lanes[name] then
    for i = 14, 22 do
      if string.sub(KEYS[i], -#name - 5) == ':due:' .. name then lanes[name] = KEYS[i] end
    end
  end
  return lanes[name]
end

local function whole(number)
  return string.match(number, '^%-?%d+$')
end

-- wrong returns the first of some keys that holds something else than what the command before
-- it counts. It asks for the length and not for the type, which Redis takes three times as
-- long to put into Lua's hands.
local checked = {}
local function wrong(length, key, ...)
  if not checked[key] then
    checked[key] = true
    if type(redis.pcall(length, key)) == 'table' then return key end
  end
  if ... then return wrong(...) end
end

-- Whether the arguments can be read, the keys hold what they should, the documents are where
-- they were.
local at, messages, roster, cards = 4, 0, false, {}
while at <= #ARGV do
  local word, a, b = ARGV[at], ARGV[at + 1], ARGV[at + 2]
  local n = ARGUMENTS[word]
  if not n or at + n > #ARGV then return {'malformed', word} end
  local odd
  if word == 'doc' or word == 'check' then
    local place = tonumber(a)
    local key = place and place >= FIRSTDOCUMENT and KEYS[place]
    local any = word == 'doc' and b == '*'
    if not key or not (any or whole(b)) then return {'malformed', word} end
    local stored = redis.pcall('GETRANGE', key, 0, 20) -- the version stands in front
    if type(stored) == 'table' then return {'type', key} end
    if not any and (string.match(stored, '^(%d+) ') or '0') ~= b then return {'conflict', key} end
  elseif word == 'msg' then
    if not lane(b) then return {'malformed', word} end
    odd = wrong('HLEN', META, 'HLEN', ITEM, 'ZCARD', LINE, 'ZCARD', lane(b))
    messages = messages + 1
  elseif word == 'card' then
    odd = wrong('HLEN', BOARD, 'LLEN', LOG)
    cards[#cards + 1] = a
  elseif word == 'timer' then
    if not whole(b) then return {'malformed', word} end
    odd = wrong('HLEN', TIMER, 'ZCARD', TIMERS)
  elseif word == 'fired' then
    odd = wrong('HLEN', TIMER, 'ZCARD', TIMERS)
  elseif word == 'find' then
    odd = wrong('HLEN', FIND)
  elseif word == 'roster' then
    odd = wrong('HLEN', META, 'HLEN', ROSTER)
    roster = true
  elseif word == 'stop' then
    odd = wrong('SCARD', STOP)
  elseif word == 'closed' then
    if not whole(b) then return {'malformed', word} end
    odd = wrong('ZCARD', CLOSED)
  else
    odd = wrong('HLEN', ERRAND, 'ZCARD', ERRANDS)
  end
  if odd then return {'type', odd} end
  at = at + n + 1
end

local function set(hash, field, value)
  if value == '' then redis.call('HDEL', hash, field) else redis.call('HSET', hash, field, value) end
end

local function cleartimer(id)
  redis.call('ZREM', TIMERS, id)
  redis.call('HDEL', TIMER, id)
end

-- From here on nothing fails. A full Redis refuses this first write, and with it the whole.
redis.call('HSET', seen, ARGV[1], ARGV[2] .. ' ' .. ARGV[3])
if roster then redis.call('HINCRBY', META, 'roster', 1) end
if #cards > 0 then redis.call('RPUSH', LOG, unpack(cards)) end
local seq = messages > 0 and redis.call('HINCRBY', META, 'seq', messages) - messages or 0
at = 4
while at <= #ARGV do
  local word, a, b, c = ARGV[at], ARGV[at + 1], ARGV[at + 2], ARGV[at + 3]
  if word == 'doc' then
    if c == '' then redis.call('DEL', KEYS[tonumber(a)]) else redis.call('SET', KEYS[tonumber(a)], c) end
  elseif word == 'msg' then
    seq = seq + 1
    local entry = a .. '|' .. string.format('%013.0f', seq) .. '|' .. c
    redis.call('HSET', ITEM, c, ARGV[at + 4])
    redis.call('ZADD', LINE, 0, entry)
    -- Only the first of a line is filed in its lane; the others step forward when it is done.
    local first = redis.call('ZRANGEBYLEX', LINE, '[' .. a .. '|', '(' .. a .. '}', 'LIMIT', 0, 1)[1]
    if first == entry then redis.call('ZADD', lane(b), digits(now), a) end
  elseif word == 'card' then
    set(BOARD, a, b)
  elseif word == 'timer' then
    if c == '' then
      cleartimer(a)
    else
      redis.call('ZADD', TIMERS, b, a)
      redis.call('HSET', TIMER, a, c)
    end
  elseif word == 'fired' then
    local value = redis.call('HGET', TIMER, a)
    if value and string.match(value, '^%d+') == b then cleartimer(a) end
  elseif word == 'find' then
    set(FIND, a, b)
  elseif word == 'roster' then
    set(ROSTER, a, b)
  elseif word == 'stop' then
    redis.call(b == '' and 'SREM' or 'SADD', STOP, a)
  elseif word == 'closed' then
    redis.call('ZADD', CLOSED, b, a)
  elseif word == 'errand' then
    redis.call('HSET', ERRAND, a, b)
    redis.call('ZADD', ERRANDS, digits(now), a)
  elseif word == 'returned' then
    redis.call('ZREM', ERRANDS, a)
    redis.call('HDEL', ERRAND, a)
  end
  at = at + ARGUMENTS[word] + 1
end
return {'ok', ARGV[3]}
