// Command skepline answers a beekeeping club's swarm hotline by text message and chat.
// Each command has a file of its own; what they do is in the packages.
package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"os/signal"
	"syscall"
	_ "time/tzdata" // time zones, also on a machine that has none

	"github.com/alecthomas/kong"
)

// commands is the command line.
type commands struct {
	Hotline string `help:"Settings of the hotline. Without it SKEPLINE_HOTLINE, without that an invented club." placeholder:"FILE"`

	Rehearse rehearseCmd `cmd:"" help:"Play the hotline with simulated phones and a fast clock."`
	Serve    serveCmd    `cmd:"" help:"Run the hotline."`
	Weigh    weighCmd    `cmd:"" help:"Show what would be understood of a report and how it would be weighed."`
	Places   placesCmd   `cmd:"" help:"Import places by name, or try one."`
	Roster   rosterCmd   `cmd:"" help:"List, invite, import or remove catchers."`
	Ledger   ledgerCmd   `cmd:"" help:"Export what came of every call, and sum up a season with plots."`
	Season   seasonCmd   `cmd:"" help:"Simulate seasons of asking around, this way and others."`
	Check    checkCmd    `cmd:"" help:"Try the settings, Redis and the providers' credentials."`
}

// terminal is what a command reads and writes.
type terminal struct {
	in        io.Reader
	out, errs io.Writer
	getenv    func(string) string
}

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	// The first signal ends the work in order, the second one ends it at once.
	context.AfterFunc(ctx, stop)
	os.Exit(command(ctx, os.Args[1:], &terminal{os.Stdin, os.Stdout, os.Stderr, os.Getenv}))
}

// command runs one command line and returns the exit code.
func command(ctx context.Context, args []string, t *terminal) (code int) {
	c := &commands{}
	ended := -1 // --help ends the program from within the parser
	parser := kong.Must(c, kong.Name("skepline"), kong.Description("A swarm hotline by text message and chat."),
		kong.Writers(t.out, t.errs), kong.Exit(func(n int) { ended = n }), kong.Bind(t, c), kong.BindTo(ctx, (*context.Context)(nil)))
	parsed, err := parser.Parse(args)
	if err == nil && ended < 0 {
		err = parsed.Run()
	}
	if ended >= 0 {
		return ended
	}
	if err != nil {
		_, _ = fmt.Fprintln(t.errs, err) // nowhere else to say it
		return 1
	}
	return 0
}
