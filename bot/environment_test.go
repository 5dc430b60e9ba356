package bot

import (
	"bytes"
	"encoding/json"
	"fmt"
	"log/slog"
	"strings"
	"testing"
)

func environmentOf(pairs ...string) func(string) string {
	m := map[string]string{}
	for i := 0; i < len(pairs); i += 2 {
		m[pairs[i]] = pairs[i+1]
	}
	return func(name string) string { return m[name] }
}

const (
	someSID    = "AC00000000000000000000000000000000"
	someSecret = "0123456789abcdef0123456789abcdef"
)

func TestReadEnvironment(t *testing.T) {
	e, err := ReadEnvironment(environmentOf(
		"SKEPLINE_SECRET", someSecret+", "+strings.ToUpper(someSecret),
		"SKEPLINE_PUBLIC_URL", "https://bees.example.org/",
		"TWILIO_ACCOUNT_SID", someSID, "TWILIO_AUTH_TOKEN", "newest, before", "TWILIO_FROM", "+16075550100",
	))
	if err != nil {
		t.Fatal(err)
	}
	if len(e.Secrets) != 2 || e.Secrets[0].Reveal() != someSecret {
		t.Errorf("%d secrets, want two, the newest first", len(e.Secrets))
	}
	if len(e.TwilioAuthTokens) != 2 || e.TwilioAuthTokens[1].Reveal() != "before" {
		t.Errorf("%d Twilio tokens, want two, the newest first", len(e.TwilioAuthTokens))
	}
	if e.PublicURL != "https://bees.example.org" || e.Listen != "127.0.0.1:8080" || e.MetricsListen != "127.0.0.1:9091" {
		t.Errorf("addresses: %q %q %q", e.PublicURL, e.Listen, e.MetricsListen)
	}
	if !e.HasSMS() || e.HasTelegram() {
		t.Errorf("SMS %v, Telegram %v; want on, off", e.HasSMS(), e.HasTelegram())
	}
}

func TestWrongEnvironment(t *testing.T) {
	for _, row := range []struct {
		why  string
		set  []string
		want string // the setting that the one sentence names
	}{
		{"a short secret", []string{"SKEPLINE_SECRET", "hunter2"}, "SKEPLINE_SECRET"},
		{"one of two secrets is short", []string{"SKEPLINE_SECRET", someSecret + ",hunter2"}, "SKEPLINE_SECRET"},
		{"not Redis", []string{"SKEPLINE_REDIS_URL", "localhost:6379"}, "SKEPLINE_REDIS_URL"},
		{"no port", []string{"SKEPLINE_LISTEN", "localhost"}, "SKEPLINE_LISTEN"},
		{"no port for metrics", []string{"SKEPLINE_METRICS_LISTEN", "9091"}, "SKEPLINE_METRICS_LISTEN"},
		{"no scheme", []string{"SKEPLINE_PUBLIC_URL", "bees.club.example"}, "SKEPLINE_PUBLIC_URL"},
		{"a SID of other things", []string{"TWILIO_ACCOUNT_SID", "MG" + someSID[2:], "TWILIO_AUTH_TOKEN", someSecret, "TWILIO_FROM", "+16075550100"}, "TWILIO_ACCOUNT_SID"},
		{"half of the Twilio credentials", []string{"TWILIO_AUTH_TOKEN", someSecret}, "TWILIO_AUTH_TOKEN"},
		{"SMS without a number of ours", []string{"TWILIO_ACCOUNT_SID", someSID, "TWILIO_AUTH_TOKEN", someSecret}, "TWILIO_FROM"},
		{"a Telegram token without its number", []string{"TELEGRAM_BOT_TOKEN", "abc"}, "TELEGRAM_BOT_TOKEN"},
		{"a webhook that Telegram cannot reach", []string{"TELEGRAM_WEBHOOK_SECRET", "abc"}, "SKEPLINE_PUBLIC_URL"},
		{"a webhook secret that Telegram refuses", []string{"TELEGRAM_WEBHOOK_SECRET", "a b", "SKEPLINE_PUBLIC_URL", "https://a.example"}, "TELEGRAM_WEBHOOK_SECRET"},
		{"another provider's server", []string{"TWILIO_API_URL", "nowhere"}, "TWILIO_API_URL"},
		{"another chat server", []string{"TELEGRAM_API_URL", "nowhere"}, "TELEGRAM_API_URL"},
	} {
		_, err := ReadEnvironment(environmentOf(row.set...))
		if err == nil || !strings.Contains(err.Error(), row.want) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%s: got %v, want one sentence on %s", row.why, err, row.want)
			continue
		}
		for i := 1; i < len(row.set); i += 2 {
			if len(row.set[i]) > 6 && strings.Contains(err.Error(), row.set[i]) {
				t.Errorf("%s: the error repeats the value: %v", row.why, err)
			}
		}
	}
}

func TestSecretsDoNotPrint(t *testing.T) {
	e := Environment{Secrets: []Secret{"plum"}, RedisURL: "plum", TwilioAuthTokens: []Secret{"plum"}}
	var log bytes.Buffer
	slog.New(slog.NewJSONHandler(&log, nil)).Info("x", "secret", e.RedisURL, "all", e)
	asJSON, err := json.Marshal(map[string]any{"all": e, "one": e.RedisURL})
	if err != nil {
		t.Fatal(err)
	}
	for _, printed := range []string{
		fmt.Sprint(e), fmt.Sprintf("%v %+v %#v %s %q %x %d %t", e, e, e, e.RedisURL, e.RedisURL, e.RedisURL, e.RedisURL, e.RedisURL),
		log.String(), string(asJSON), fmt.Errorf("because of %w, %v", fmt.Errorf("%s", e.RedisURL), &e).Error(),
	} {
		if strings.Contains(printed, "plum") || strings.Contains(printed, "706c756d") {
			t.Errorf("a secret is in %s", printed)
		}
	}
	if Secret("plum").Reveal() != "plum" {
		t.Error("Reveal hides it too")
	}
}
