package main

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"errors"
	"fmt"
	"os"
	"slices"
	"strconv"
	"strings"
	"text/tabwriter"

	"skepline/bot"
	"skepline/bot/telegram"
	"skepline/notify"
)

type rosterCmd struct {
	List   rosterList   `cmd:"" help:"Print who can be asked."`
	Invite rosterInvite `cmd:"" help:"Add somebody and print the invitation to send them."`
	Import rosterImport `cmd:"" help:"Add or change everybody in a CSV file."`
	Remove rosterRemove `cmd:"" help:"Take somebody out."`
}

// office is where the roster is kept, for one command.
type office struct {
	config
	hotline *bot.Hotline
	roster  []notify.Catcher // as it was at the start
	term    *terminal
}

// atOffice opens the roster, lets do work on it, and closes it.
func (t *terminal) atOffice(ctx context.Context, c *commands, do func(*office) error) error {
	config, err := t.config(c.Hotline)
	if err != nil {
		return err
	}
	st, err := config.openStore()
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, st.Close()) }()
	if _, err := config.checked(ctx, st); err != nil {
		return err
	}
	time := &clock{}
	if now, err := st.Now(ctx); err == nil {
		time.set(now)
	}
	hotline, err := config.hotline(st, time)
	if err != nil {
		return err
	}
	roster, err := st.Roster(ctx)
	if err != nil {
		return err
	}
	return do(&office{config, hotline, roster, t})
}

func (o *office) find(id string) (notify.Catcher, bool) {
	i := slices.IndexFunc(o.roster, func(c notify.Catcher) bool { return c.ID == id })
	if i < 0 {
		return notify.Catcher{}, false
	}
	return o.roster[i], true
}

func (o *office) print(format string, a ...any) { _, _ = fmt.Fprintf(o.term.out, format+"\n", a...) }

// nonce names a roster command, so that it counts once.
func nonce() bot.EventID { return bot.EventID("ro:" + rand.Text()) }

type rosterList struct{}

// Run prints the roster, with no more of an address than tells people apart.
func (rosterList) Run(ctx context.Context, t *terminal, c *commands) error {
	return t.atOffice(ctx, c, func(o *office) error {
		table := tabwriter.NewWriter(t.out, 0, 0, 2, ' ', 0)
		_, _ = fmt.Fprintln(table, "id\tname\taddress\tplace\treach km\theight m\tskills\thours\tlanguage\tjobs a day")
		for _, k := range o.roster {
			address := "(invited)"
			if k.Address != "" {
				address = k.Address.Hint()
			}
			var skills []string
			for _, s := range k.Skills {
				skills = append(skills, string(s))
			}
			_, _ = fmt.Fprintf(table, "%s\t%s\t%s\t%.3f,%.3f\t%g\t%g\t%s\t%s\t%s\t%d\n", k.ID, k.Name, address,
				k.Lat, k.Lon, k.ReachKm, k.MaxHeightM, strings.Join(skills, ";"), k.Hours, k.Language, k.JobsADay)
		}
		return table.Flush()
	})
}

type rosterInvite struct {
	Name   string  `arg:"" help:"First name, as others may read it."`
	Home   string  `required:"" help:"Where they set out from." placeholder:"LAT,LON"`
	Reach  float64 `default:"25" help:"How far they go, in kilometres."`
	Height float64 `default:"3" help:"How high they reach, in metres."`
	Skills string  `help:"Of ladder;cutout;suit."`
	Hours  string  `help:"When they want to be asked, such as \"Mo-Fr 17:00-21:00\". Without it always."`
	Lang   string  `help:"Their language."`
	Jobs   int     `default:"3" help:"Calls they take on one day at most."`
}

// Run adds one catcher. The row goes the way of an imported one, so that it is checked the
// same.
func (r rosterInvite) Run(ctx context.Context, t *terminal, c *commands) error {
	lat, lon, _ := strings.Cut(r.Home, ",")
	number := func(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }
	row := []string{r.Name, "", lat, lon, number(r.Reach), number(r.Height), r.Skills, r.Hours, r.Lang, strconv.Itoa(r.Jobs)}
	catchers, err := notify.ReadRoster(strings.NewReader(
		"name,address,lat,lon,reach_km,max_height_m,skills,hours,language,jobs_a_day\n" + csvRow(row)))
	if err != nil {
		return err
	}
	return t.atOffice(ctx, c, func(o *office) error {
		k := catchers[0]
		k.ID = notify.CatcherID(k.Name, func(id string) bool { _, taken := o.find(id); return taken })
		return o.enrol(ctx, k)
	})
}

// csvRow quotes every field.
func csvRow(fields []string) string {
	quoted := make([]string, len(fields))
	for i, f := range fields {
		quoted[i] = `"` + strings.ReplaceAll(f, `"`, `""`) + `"`
	}
	return strings.Join(quoted, ",") + "\n"
}

type rosterImport struct {
	File string `arg:"" help:"A roster file as CSV."`
}

// Run adds everybody in the file, and changes who is there already under the same name.
// Somebody who has joined stays joined when the file holds no address for them.
func (r rosterImport) Run(ctx context.Context, t *terminal, c *commands) error {
	file, err := os.Open(r.File)
	if err != nil {
		return fmt.Errorf("read the roster file: %w", err)
	}
	catchers, err := notify.ReadRoster(file)
	if err := errors.Join(err, file.Close()); err != nil {
		return fmt.Errorf("%s: %w", r.File, err)
	}
	return t.atOffice(ctx, c, func(o *office) error {
		for _, k := range catchers {
			if before, known := o.find(k.ID); known && k.Address == "" {
				k.Address = before.Address
			}
			if err := o.enrol(ctx, k); err != nil {
				return err
			}
		}
		o.print("%d catchers are in the roster file.", len(catchers))
		return nil
	})
}

// enrol commits one catcher, with an invitation when their address is still open. The token
// itself is not kept anywhere.
func (o *office) enrol(ctx context.Context, k notify.Catcher) error {
	event := bot.Enrolled{Event: nonce(), Catcher: k}
	if k.Address != "" {
		_, err := o.hotline.Hear(ctx, event)
		return err
	}
	raw := make([]byte, 16)
	if _, err := rand.Read(raw); err != nil {
		return fmt.Errorf("make an invitation: %w", err)
	}
	token := base64.RawURLEncoding.EncodeToString(raw)
	hash := sha256.Sum256([]byte(token))
	event.Token = hex.EncodeToString(hash[:])
	if _, err := o.hotline.Hear(ctx, event); err != nil {
		return err
	}
	o.print("Invitation for %s (%s), for one person and one use:", k.Name, k.ID)
	o.printInvitation(ctx, token)
	return nil
}

func (o *office) printInvitation(ctx context.Context, token string) {
	text := "text"
	if o.env.HasTelegram() {
		door := telegram.New(telegram.Config{Token: o.env.TelegramBotToken.Reveal(), APIURL: o.env.TelegramAPIURL, Log: o.log})
		if name, err := door.Username(ctx); err != nil {
			o.print("  (no Telegram link: %v)", err)
		} else {
			o.print("  https://t.me/%s?start=%s", name, token)
			text = "or text"
		}
	}
	number := o.env.TwilioFrom
	if number == "" {
		number = "the hotline's number"
	}
	o.print("  %s JOIN %s to %s", text, token, number)
}

type rosterRemove struct {
	ID string `arg:"" help:"The catcher's id, as list prints it."`
}

// Run takes one catcher out. What they hold goes back to the hotline.
func (r rosterRemove) Run(ctx context.Context, t *terminal, c *commands) error {
	return t.atOffice(ctx, c, func(o *office) error {
		k, known := o.find(r.ID)
		if !known {
			return fmt.Errorf("there is no catcher %q; see: skepline roster list", r.ID)
		}
		if _, err := o.hotline.Hear(ctx, bot.Dismissed{Event: nonce(), Catcher: r.ID}); err != nil {
			return err
		}
		o.print("%s is out of the roster.", k.Name)
		return nil
	})
}
