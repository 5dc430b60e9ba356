-- Commits one change: everything is checked, then everything is written, or nothing is.
--
-- KEYS[1..3] seen ring  [4] meta  [5] board  [6] roster  [7] find  [8] stop  [9] timer
-- KEYS[10] due:timers  [11] item  [12] line  [13] closed
-- KEYS[14…19] due:<lane>, every lane;  [20] errand  [21] due:errands;  [22…] documents
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
local META, BOARD, ROSTER, FIND, STOP, TIMER, TIMERS, ITEM, LINE, CLOSED = unpack(KEYS, 4, 13)
local ERRAND, ERRANDS = KEYS[20], KEYS[21]
local now = clock()
local seen = KEYS[bucket(now, 0)]

local LANES = {}
for i = 14, 19 do
  LANES[string.match(KEYS[i], ':due:(.+)$')] = KEYS[i]
end

for back = 0, 1 do
  local first = redis.call('HGET', KEYS[bucket(now, back)], ARGV[1])
  if first then
    local payload, outcome = string.match(first, '^(%S+) (.*)$')
    return {'seen', outcome or '', payload == ARGV[2] and 'same' or 'other'}
  end
end

local function version(key)
  return string.match(redis.call('GET', key) or '0 ', '^(%d+) ')
end

local function set(hash, field, value)
  if value == '' then redis.call('HDEL', hash, field) else redis.call('HSET', hash, field, value) end
end

-- document returns the key of a document by its place in KEYS, whole a number that ZADD takes.
local function document(place)
  local n = tonumber(place)
  return n and n >= 22 and KEYS[n]
end

local function whole(number)
  return string.match(number, '^%-?%d+$')
end

local function cleartimer(id)
  redis.call('ZREM', TIMERS, id)
  redis.call('HDEL', TIMER, id)
end

-- ops: n = number of arguments; on = the keys that must have these types; ok = can the
-- arguments be read; run = the writes, none of which can fail after that.
local ops = {
  doc = {n = 3,
    ok = function(place, at) return document(place) and (at == '*' or whole(at)) end,
    run = function(place, _, value)
      if value == '' then redis.call('DEL', document(place)) else redis.call('SET', document(place), value) end
    end},
  check = {n = 2,
    ok = function(place, at) return document(place) and whole(at) end,
    run = function() end},
  card = {n = 2, on = {[BOARD] = 'hash'}, run = function(field, body) set(BOARD, field, body) end},
  roster = {n = 2, on = {[ROSTER] = 'hash'}, run = function(id, body) set(ROSTER, id, body) end},
  find = {n = 2, on = {[FIND] = 'hash'}, run = function(name, subject) set(FIND, name, subject) end},
  stop = {n = 2, on = {[STOP] = 'set'},
    run = function(person, on) redis.call(on == '' and 'SREM' or 'SADD', STOP, person) end},
  timer = {n = 3, on = {[TIMER] = 'hash', [TIMERS] = 'zset'},
    ok = function(_, at) return whole(at) end,
    run = function(id, at, value)
      if value == '' then return cleartimer(id) end
      redis.call('ZADD', TIMERS, at, id)
      redis.call('HSET', TIMER, id, value)
    end},
  fired = {n = 2, on = {[TIMER] = 'hash', [TIMERS] = 'zset'},
    run = function(id, n)
      local value = redis.call('HGET', TIMER, id)
      if value and string.match(value, '^%d+') == n then cleartimer(id) end
    end},
  msg = {n = 4, on = {[ITEM] = 'hash', [LINE] = 'zset'},
    ok = function(_, lane) return LANES[lane] end,
    run = function(line, lane, id, item)
      local seq = redis.call('HINCRBY', META, 'seq', 1)
      local entry = line .. '|' .. string.format('%013.0f', seq) .. '|' .. id
      redis.call('HSET', ITEM, id, item)
      redis.call('ZADD', LINE, 0, entry)
      -- Only the first of a line is filed in its lane; the others step forward when it is done.
      local first = redis.call('ZRANGEBYLEX', LINE, '[' .. line .. '|', '(' .. line .. '}', 'LIMIT', 0, 1)[1]
      if first == entry then redis.call('ZADD', LANES[lane], digits(now), line) end
    end},
  errand = {n = 2, on = {[ERRAND] = 'hash', [ERRANDS] = 'zset'},
    run = function(id, value)
      redis.call('HSET', ERRAND, id, value)
      redis.call('ZADD', ERRANDS, digits(now), id)
    end},
  returned = {n = 1, on = {[ERRAND] = 'hash', [ERRANDS] = 'zset'},
    run = function(id)
      redis.call('ZREM', ERRANDS, id)
      redis.call('HDEL', ERRAND, id)
    end},
  closed = {n = 2, on = {[CLOSED] = 'zset'},
    ok = function(_, at) return whole(at) end,
    run = function(call, at) redis.call('ZADD', CLOSED, at, call) end},
}
for _, lane in pairs(LANES) do ops.msg.on[lane] = 'zset' end

local checked = {}
local function wrongtype(key, want)
  if checked[key] then return false end
  checked[key] = true
  local kind = redis.call('TYPE', key).ok
  return kind ~= 'none' and kind ~= want
end

if wrongtype(META, 'hash') then return {'type', META} end
local at, roster = 4, false
while at <= #ARGV do
  local word = ARGV[at]
  local op = ops[word]
  if not op or at + op.n > #ARGV then return {'malformed', word} end
  if op.ok and not op.ok(unpack(ARGV, at + 1, at + op.n)) then return {'malformed', word} end
  for key, want in pairs(op.on or {}) do
    if wrongtype(key, want) then return {'type', key} end
  end
  if word == 'doc' or word == 'check' then
    local key = document(ARGV[at + 1])
    if wrongtype(key, 'string') then return {'type', key} end
    if ARGV[at + 2] ~= '*' and version(key) ~= ARGV[at + 2] then return {'conflict', key} end
  end
  roster = roster or word == 'roster'
  at = at + op.n + 1
end

-- From here on nothing fails. A full Redis refuses this first write, and with it the whole.
redis.call('HSET', seen, ARGV[1], ARGV[2] .. ' ' .. ARGV[3])
if roster then redis.call('HINCRBY', META, 'roster', 1) end
at = 4
while at <= #ARGV do
  local op = ops[ARGV[at]]
  op.run(unpack(ARGV, at + 1, at + op.n))
  at = at + op.n + 1
end
return {'ok', ARGV[3]}
