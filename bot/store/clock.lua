-- Put in front of every script: the only place where the store's clock is read.

-- clock returns milliseconds since 1970 by the Redis server.
local function clock()
  local t = redis.call('TIME')
  return tonumber(t[1]) * 1000 + math.floor(tonumber(t[2]) / 1000)
end

-- digits writes a whole number without an exponent, which tostring would use from 1e14 on.
local function digits(n)
  return string.format('%.0f', n)
end

-- bucket returns the place (1, 2 or 3) in the ring of seen hashes for now, or for `back`
-- buckets earlier. A bucket is four days long.
local function bucket(now, back)
  return (math.floor(now / 345600000) - back) % 3 + 1
end
