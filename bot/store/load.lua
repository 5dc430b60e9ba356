-- Loads what an event starts from, in one trip.
--
-- KEYS[1..3] seen ring  [4] find  [5] the person's document  [6…] documents wanted if there is none
-- ARGV[1] event id
-- ARGV[2] person id, '' = none
-- ARGV[3] name to find, '' = none
-- ARGV[4] prefix of document keys, "{tag}:d:"
-- Output  {'seen', outcome} when the event was handled before, else
--         {'new', person document, pointer, pointed document, found subject}, '' where there is
--         none, and behind that the documents from KEYS[6] on if there is no person document
--
-- The pointed document's key is built here and not declared: it has the same tag, hence
-- the same slot, and a second trip is spared.
-- All three hashes of the ring: to look costs less than to ask for the time, and the oldest one
-- has outcomes that are still right.
for i = 1, 3 do
  local seen = redis.call('HGET', KEYS[i], ARGV[1])
  if seen then return {'seen', string.match(seen, '^%S+ (.*)$') or ''} end
end

local person, pointer, pointed, found = '', '', '', ''
if ARGV[2] ~= '' then
  person = redis.call('GET', KEYS[5]) or ''
  pointer = string.match(person, '^%d+ (%S+) ') or '-'
  if pointer == '-' then
    pointer = ''
  else
    pointed = redis.call('GET', ARGV[4] .. pointer) or ''
  end
end
if ARGV[3] ~= '' then
  found = redis.call('HGET', KEYS[4], ARGV[3]) or ''
end
local out = {'new', person, pointer, pointed, found}
if person == '' then
  for i = 6, #KEYS do out[i] = redis.call('GET', KEYS[i]) or '' end
end
return out
