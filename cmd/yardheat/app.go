package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"strings"
	"syscall"
	"time"

	"github.com/spf13/cobra"

	"yardheat/cmd/yardheat/desktop"
	"yardheat/ingest"
	"yardheat/ingest/work"
)

// version is set by the release build: -ldflags "-X main.version=…". Before
// anything else runs, the revision of the sources is put behind it (build.go).
var version = "dev"

// app is one run of the program: its streams and its clock, passed in so that
// tests can stand in for them.
type app struct {
	stdin          io.Reader
	stdout, stderr io.Writer
	now            func() time.Time
	// ctx ends the work of a command that can be stopped; nil = it never ends.
	ctx context.Context
	// tell takes how far long work is, beside the terminal; nil = nobody asks.
	tell func(work.Progress)
	// doubleClicked says whether the program was started from the desktop.
	doubleClicked func() bool
}

func newApp(stdin io.Reader, stdout, stderr io.Writer) *app {
	return &app{stdin: stdin, stdout: stdout, stderr: stderr, now: time.Now, doubleClicked: desktop.DoubleClicked}
}

// usageError is a wrong command line: exit status 2.
type usageError struct{ error }

func (e usageError) Unwrap() error { return e.error }

// run parses the command line, does the work and gives the exit status.
func (a *app) run(args []string) int {
	root := a.root()
	root.SetArgs(args)
	root.SetIn(a.stdin)
	root.SetOut(a.stdout)
	root.SetErr(a.stderr)
	err := root.Execute()
	if err == nil {
		return exitDone
	}
	fmt.Fprintln(a.stderr, strings.TrimRight("yardheat: "+err.Error(), "\n"))
	return exitStatus(err)
}

// exitStatus is the status of interfaces.md section 3 for an error.
func exitStatus(err error) int {
	var usage usageError
	var input *ingest.InputError
	var differs differsError
	switch {
	case errors.As(err, &differs):
		return exitDiffers
	case errors.As(err, &usage):
		return exitUsage
	case errors.As(err, &input):
		return exitBadInput
	}
	return exitOther
}

// root is the command tree. Help shows an example before anything else.
func (a *app) root() *cobra.Command {
	root := &cobra.Command{
		Use:   "yardheat",
		Short: "Turn the logs of a farm's heat-recovery hot water into a seasonal account",
		Example: `  yardheat demo                 write the sample farm and report on it
  yardheat serve --open         give logs and read reports on a page in the browser
  yardheat look yard.csv        say what a logger's file holds
  yardheat start my-farm *.csv  make a farm folder from logger files
  yardheat report my-farm       report on the farm in the folder my-farm
  yardheat report my-farm --bundle    the same, with the logs, in one zip
  yardheat today my-farm        the last 48 hours in ten lines
  yardheat claim my-farm --kwh 5500   hold a claimed saving against it
  yardheat retrace my-farm/report     make it again and say what differs`,
		Version:                    version,
		SilenceUsage:               true,
		SilenceErrors:              true,
		Args:                       noArgs,
		SuggestionsMinimumDistance: 2,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if page := pageCommand(cmd); page != nil && a.doubleClicked() {
				return a.fromDesktop(cmd, page)
			}
			return cmd.Help()
		},
	}
	cobra.MousetrapHelpText = "" // a double-click opens the page
	root.SetVersionTemplate(versionText())
	root.SetUsageTemplate(usageTemplate)
	root.SetHelpTemplate(helpTemplate)
	root.SetFlagErrorFunc(func(cmd *cobra.Command, err error) error {
		return usageError{fmt.Errorf("%w; see: yardheat %s --help", err, cmd.Name())}
	})
	root.AddCommand(
		a.demoCommand(), a.lookCommand(), a.startCommand(), a.reportCommand(), a.todayCommand(),
		a.claimCommand(), a.sizeCommand(), a.compareCommand(), a.retraceCommand(),
		a.serveCommand(), a.licencesCommand(),
	)
	return root
}

// noArgs refuses words that are no command, and names the nearest one.
func noArgs(cmd *cobra.Command, args []string) error {
	if len(args) == 0 {
		return nil
	}
	text := fmt.Sprintf("unknown command %q", args[0])
	if near := cmd.SuggestionsFor(args[0]); len(near) > 0 {
		text += fmt.Sprintf("; did you mean %s?", strings.Join(near, " or "))
	}
	return usageError{errors.New(text + " See: yardheat --help")}
}

// atMost and exactly are cobra's checks with our exit status.
func atMost(n int) cobra.PositionalArgs {
	return func(cmd *cobra.Command, args []string) error {
		return asUsage(cobra.MaximumNArgs(n)(cmd, args))
	}
}

func exactly(n int, what string) cobra.PositionalArgs {
	return func(cmd *cobra.Command, args []string) error {
		if len(args) != n {
			return usageError{fmt.Errorf("want %s; see: yardheat %s --help", what, cmd.Name())}
		}
		return nil
	}
}

func asUsage(err error) error {
	if err == nil {
		return nil
	}
	return usageError{err}
}

// helpTemplate: an example first, then what the command does, then the rest.
const helpTemplate = `{{if .HasExample}}Example:
{{.Example}}

{{end}}{{with (or .Long .Short)}}{{. | trimTrailingWhitespaces}}

{{end}}{{if or .Runnable .HasSubCommands}}{{.UsageString}}{{end}}`

const usageTemplate = `Usage:{{if .HasAvailableSubCommands}}
  {{.CommandPath}} COMMAND{{else}}
  {{.UseLine}}{{end}}{{if .HasAvailableSubCommands}}

Commands:{{range .Commands}}{{if (or .IsAvailableCommand (eq .Name "help"))}}
  {{rpad .Name .NamePadding }} {{.Short}}{{end}}{{end}}{{end}}{{if .HasAvailableLocalFlags}}

Options:
{{.LocalFlags.FlagUsages | trimTrailingWhitespaces}}{{end}}
`

// isTerminal says whether w is a terminal: progress is shown only there.
func isTerminal(w io.Writer) bool {
	f, ok := w.(*os.File)
	if !ok || os.Getenv("TERM") == "dumb" {
		return false
	}
	info, err := f.Stat()
	return err == nil && info.Mode()&os.ModeCharDevice != 0
}

// progress prints one line that overwrites itself, on a terminal only.
type progress struct {
	w    io.Writer
	live bool
	last int
	tell func(work.Progress)
}

func (a *app) newProgress() *progress {
	return &progress{w: a.stderr, live: isTerminal(a.stderr), tell: a.tell}
}

// step shows what is being done.
func (p *progress) step(format string, args ...any) {
	if !p.live {
		return
	}
	text := shortened(fmt.Sprintf(format, args...))
	pad := max(0, p.last-len(text))
	fmt.Fprintf(p.w, "\r%s%s", text, strings.Repeat(" ", pad))
	p.last = len(text)
}

// mostShown keeps the line within a narrow terminal's width.
const mostShown = 76

func shortened(text string) string {
	r := []rune(text)
	if len(r) <= mostShown {
		return text
	}
	return string(r[:mostShown-1]) + "…"
}

// stage shows how far long work is.
func (p *progress) stage(at work.Progress) {
	if p.tell != nil {
		p.tell(at)
	}
	text := stageWords[at.Stage]
	switch {
	case at.Total > 0 && at.File != "":
		p.step("%s %s, %d of %d done", text, at.File, at.Done, at.Total)
	case at.Total > 0:
		p.step("%s, %d of %d done", text, at.Done, at.Total)
	default:
		p.step("%s", text)
	}
}

// stageWords are what the terminal calls the stages.
var stageWords = map[work.Stage]string{
	work.StageRead: "reading", work.StageAlign: "holding the clocks against each other", work.StageReread: "reading again, clocks corrected:", work.StageFlag: "looking for faulty readings",
	work.StageGrid: "laying the logs on one grid", work.StageAccount: "keeping the account", work.StageMatch: "comparing the probes", work.StageFit: "fitting the loop",
	work.StagePlant: "fitting the plant", work.StageChanges: "looking for changes", work.StageTrials: "making the trials", work.StageGather: "bringing it together",
	work.StageWrite: "writing the report", work.StagePlace: "putting it in place", work.StageBundle: "packing the bundle",
}

// interruptible has Ctrl-C (and a request to end) stop the work; the next one
// ends the program at once. Call end when the work is done.
func (a *app) interruptible() (b *app, end func()) {
	if a.ctx != nil {
		return a, func() {}
	}
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	context.AfterFunc(ctx, stop)
	c := *a
	c.ctx = ctx
	return &c, stop
}

// asStopped says in words that the work was stopped, and what stands.
func asStopped(err error, what string) error {
	if errors.Is(err, context.Canceled) {
		return fmt.Errorf("stopped: %s: %w", what, context.Canceled)
	}
	return err
}

// done clears the line.
func (p *progress) done() {
	if p.live && p.last > 0 {
		fmt.Fprintf(p.w, "\r%s\r", strings.Repeat(" ", p.last))
	}
}
