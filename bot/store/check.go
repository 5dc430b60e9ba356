package store

import (
	"context"
	"fmt"
	"strconv"
	"strings"
	"time"

	"github.com/redis/go-redis/v9"
)

// Profile says what a store can lose of what it acknowledged.
type Profile struct {
	Name    string // "strict-single", "single", "snapshots", "replicated" or "embedded"
	Loses   string // one sentence
	Version string // the server's, "" when embedded
}

// Problem is something about the store that a person should change.
type Problem struct {
	Fatal    bool   // the hotline must not run like this
	Sentence string // what is wrong and what to do
}

// schema is the layout of keys and values that this program reads and writes.
const schema = "1"

// The limits of Check, by judgement: within warnSkew people notice nothing, beyond
// fatalSkew the times in texts are wrong; above fullFrom percent of its memory a Redis
// that may evict nothing will soon refuse to write.
const (
	warnSkew  = 2 * time.Second
	fatalSkew = 30 * time.Second
	fullFrom  = 70
)

// Check looks at the Redis server and says what the store can lose and what is wrong with
// it. local is the caller's clock, which must agree with the server's. An error means that
// the server could not be asked. Call it at the start, and now and then: a failover may
// lead to a server with other settings.
func (s *Store) Check(ctx context.Context, local time.Time) (Profile, []Problem, error) {
	var problems []Problem
	profile := Profile{Name: "embedded", Loses: "Everything is lost when the program ends: this store is for trying only."}
	if s.embedded == nil {
		facts, err := s.ask(ctx)
		if err != nil {
			return Profile{}, nil, fmt.Errorf("ask Redis about itself: %w", err)
		}
		if now, err := s.Now(ctx); err == nil {
			facts.skew = local.Sub(now)
		}
		profile, problems = judge(facts)
		s.replicated.Store(profile.Name == "replicated")
	}
	for _, p := range problems {
		if p.Fatal {
			return profile, problems, nil
		}
	}
	foreign, err := s.claim(ctx)
	if err != nil {
		return profile, problems, fmt.Errorf("read whose store this is: %w", err)
	}
	return profile, append(problems, foreign...), nil
}

// claim writes schema and deployment into a new store and finds fault with one that
// carries others.
func (s *Store) claim(ctx context.Context) ([]Problem, error) {
	meta := s.keys.of("meta")
	pipe := s.client.TxPipeline()
	pipe.HSetNX(ctx, meta, "schema", schema)
	if s.opts.Deployment != "" {
		pipe.HSetNX(ctx, meta, "deployment", s.opts.Deployment)
	}
	stored := pipe.HMGet(ctx, meta, "schema", "deployment")
	if _, err := pipe.Exec(ctx); err != nil {
		return nil, err
	}
	var problems []Problem
	if have := fmt.Sprint(stored.Val()[0]); have != schema {
		problems = append(problems, Problem{true, fmt.Sprintf(
			"The store is of layout %s, this program knows layout %s: run the version that wrote it.", have, schema)})
	}
	if have, ok := stored.Val()[1].(string); ok && s.opts.Deployment != "" && have != s.opts.Deployment {
		problems = append(problems, Problem{true, fmt.Sprintf(
			"The store belongs to another hotline (%q, this is %q): use another Redis, or another name.", have, s.opts.Deployment)})
	}
	return problems, nil
}

// facts is what a server says of itself.
type facts struct {
	version        string
	role           string
	clusterEnabled bool
	clusterClient  bool
	sentinelClient bool
	replicas       int
	lineage        string // changes when a copy takes over or a server restarts (INFO replication, master_replid)
	before         string // the lineage that a copy continues when it took over, else zeros (master_replid2)
	configRead     bool   // CONFIG may be asked; managed servers often forbid it
	policy         string
	appendOnly     bool
	appendFsync    string
	pausesFsync    bool // no-appendfsync-on-rewrite
	aofBroken      bool
	used, limit    int64 // bytes of memory, limit 0 = none
	skew           time.Duration
}

// ask asks the server that holds the hotline's slot.
func (s *Store) ask(ctx context.Context) (facts, error) {
	var f facts
	node, err := s.node(ctx)
	if err != nil {
		return f, err
	}
	_, f.clusterClient = s.client.(*redis.ClusterClient)
	text, err := node.Info(ctx).Result()
	if err != nil {
		return f, err
	}
	info := readInfo(text)
	f.version, f.role = info["redis_version"], info["role"]
	f.clusterEnabled = info["cluster_enabled"] == "1"
	f.replicas, _ = strconv.Atoi(info["connected_slaves"])
	f.lineage, f.before = info["master_replid"], info["master_replid2"]
	f.policy = info["maxmemory_policy"]
	f.appendOnly = info["aof_enabled"] == "1"
	f.aofBroken = f.appendOnly && info["aof_last_write_status"] == "err"
	f.used, _ = strconv.ParseInt(info["used_memory"], 10, 64)
	f.limit, _ = strconv.ParseInt(info["maxmemory"], 10, 64)
	f.sentinelClient = s.sentinel
	f.readConfig(ctx, node)
	return f, nil
}

// readConfig adds what only CONFIG tells, if it may be asked.
func (f *facts) readConfig(ctx context.Context, node redis.Cmdable) {
	get := func(name string) string {
		values, err := node.ConfigGet(ctx, name).Result()
		if err != nil {
			return ""
		}
		return values[name]
	}
	f.appendFsync = get("appendfsync")
	f.configRead = f.appendFsync != ""
	if f.configRead {
		f.pausesFsync = get("no-appendfsync-on-rewrite") == "yes"
		f.policy = get("maxmemory-policy")
	}
}

// readInfo reads the lines "name:value" of INFO.
func readInfo(text string) map[string]string {
	info := map[string]string{}
	for line := range strings.Lines(text) {
		if name, value, ok := strings.Cut(strings.TrimSpace(line), ":"); ok {
			info[name] = value
		}
	}
	return info
}

// judge says what a server with these settings can lose, and what is wrong with it.
func judge(f facts) (Profile, []Problem) {
	var problems []Problem
	fault := func(found, fatal bool, format string, args ...any) {
		if found {
			problems = append(problems, Problem{fatal, fmt.Sprintf(format, args...)})
		}
	}
	fault(!atLeast(f.version, 6, 2), true, "Redis %s is too old: use 6.2 or newer, best 7.0.", f.version)
	fault(f.role != "master", true, "This Redis is a copy (role %s) and takes no writes: give the address of the main one.", f.role)
	fault(f.clusterEnabled && !f.clusterClient, true, "This Redis is part of a Cluster: give two of its addresses, with a comma between them.")
	fault(f.policy != "" && f.policy != "noeviction", true, "Redis may throw away what it was told to keep (maxmemory-policy %s): set maxmemory-policy noeviction.", f.policy)
	fault(f.policy == "", false, "Redis does not say what it does when it is full: make sure that maxmemory-policy is noeviction.")
	fault(f.aofBroken, true, "Redis cannot write its append-only file: look at its disk and its log.")
	skew := f.skew.Abs()
	fault(skew > fatalSkew, true, "The clocks of this machine and of Redis are %s apart: set them by NTP.", skew.Round(time.Second))
	fault(skew > warnSkew && skew <= fatalSkew, false, "The clocks of this machine and of Redis are %s apart: set them by NTP.", skew.Round(time.Second))
	fault(f.percentFull() >= fullFrom, false, "Redis has used %d%% of its memory: raise maxmemory before it refuses to write.", f.percentFull())
	fault(!f.appendOnly, false, "Redis keeps no append-only file: set appendonly yes and appendfsync always.")
	fault(f.appendOnly && !f.configRead, false, "Redis does not say how often it writes to disk (CONFIG is forbidden): ask its provider for appendfsync always.")
	fault(f.appendFsync == "no" && f.appendOnly, false, "Redis leaves writing to disk to the system (appendfsync no): set appendfsync always.")
	fault(f.pausesFsync && f.appendFsync == "always", false, "Redis stops writing to disk while it rewrites its file: set no-appendfsync-on-rewrite no.")
	return profileOf(f), problems
}

func profileOf(f facts) Profile {
	p := Profile{Version: f.version}
	switch {
	case f.clusterEnabled || f.sentinelClient || f.replicas > 0:
		p.Name, p.Loses = "replicated", "When a copy takes over from the main Redis, the last moments before may be lost although they were acknowledged."
	case !f.appendOnly:
		p.Name, p.Loses = "snapshots", "When Redis ends, everything since its last snapshot may be lost, or everything there is."
	case f.appendFsync == "always" && !f.pausesFsync:
		p.Name, p.Loses = "strict-single", "Nothing that was acknowledged is lost when the bot, Redis or the machine fails, as long as the disk survives."
	case f.appendFsync == "no":
		p.Name, p.Loses = "single", "When the machine fails, about the last half minute is lost; nothing when only the bot or Redis does."
	default:
		p.Name, p.Loses = "single", "When the machine fails, about the last two seconds are lost; nothing when only the bot or Redis does."
	}
	return p
}

// percentFull returns how much of its memory limit the server has used, 0 without a limit.
func (f facts) percentFull() int64 {
	if f.limit == 0 {
		return 0
	}
	return f.used * 100 / f.limit
}

// atLeast reports whether a version such as "7.0.15" is major.minor or newer.
func atLeast(version string, major, minor int) bool {
	parts := strings.SplitN(version, ".", 3)
	if len(parts) < 2 {
		return false
	}
	a, errA := strconv.Atoi(parts[0])
	b, errB := strconv.Atoi(parts[1])
	return errA == nil && errB == nil && (a > major || a == major && b >= minor)
}
