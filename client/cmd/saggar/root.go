package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"saggar/client/api"
	"saggar/client/file"
	"saggar/client/render"
	saggarv1 "saggar/proto/saggar/v1"
)

// shell is one invocation: its streams, its environment and its global flags.
type shell struct {
	in        io.Reader
	out       io.Writer
	errOut    io.Writer
	lookupEnv func(string) (string, bool)

	server  string
	studio  string
	keyFile string
	output  string
	timeout time.Duration
	format  render.Format

	tls         api.TLS
	contextName string // as asked for
	context     string // in use; empty: none
	settled     bool
}

// errRefused ends a command whose answer shows a finding that blocks; the answer itself was printed.
var errRefused = errors.New("refused by a finding that blocks")

// inputError is a fault of what was typed or of a file.
type inputError struct{ error }

func (e inputError) Unwrap() error { return e.error }

// badInput marks an error as the caller's to mend; nil stays nil.
func badInput(err error) error {
	if err == nil {
		return nil
	}
	return inputError{err}
}

// run executes one command line and returns its exit code.
func (s *shell) run(ctx context.Context, args []string) int {
	root := s.command()
	root.SetArgs(args)
	root.SetIn(s.in)
	root.SetOut(s.out)
	root.SetErr(s.errOut)
	command, err := root.ExecuteContextC(ctx)
	err = nameTyped(plainFlags(command, err))
	code := exitCode(err)
	if err != nil && !errors.Is(err, errRefused) {
		fmt.Fprintln(s.errOut, "saggar:", describe(err))
	}
	return code
}

func exitCode(err error) int {
	var input inputError
	var files file.Errors
	switch {
	case err == nil:
		return api.ExitOK
	case errors.Is(err, errRefused):
		return api.ExitRefused
	case errors.As(err, &input), errors.As(err, &files):
		return api.ExitBadInput
	}
	if api.IsAnswer(err) {
		return api.ExitCode(err)
	}
	return api.ExitBadInput // cobra's own: unknown command, flag or argument
}

// hinted is an error with a sentence on how to go on.
type hinted struct {
	error
	hint string
}

func (h hinted) Unwrap() error { return h.error }

func describe(err error) string {
	if h, ok := errors.AsType[hinted](err); ok {
		return describe(h.error) + "\n  " + h.hint
	}
	if api.IsAnswer(err) {
		return api.Describe(err)
	}
	return err.Error()
}

func (s *shell) command() *cobra.Command {
	root := &cobra.Command{
		Use:   "saggar",
		Short: "Check, plan and book fired work on kilns and furnaces that a studio shares",
		Long: "Check, plan and book fired work on kilns and furnaces that a studio shares.\n\n" +
			"Figures on air, heat and protection are planning estimates from stated assumptions. They replace no\n" +
			"measurement, no local code, no safety officer and no licensed engineer.",
		SilenceUsage: true, SilenceErrors: true,
		PersistentPreRunE: func(*cobra.Command, []string) (err error) {
			if s.timeout <= 0 {
				return badInput(fmt.Errorf("--timeout: %v is no time to wait: give one above zero, such as 30s", s.timeout))
			}
			s.format, err = render.ParseFormat(s.output)
			return badInput(err)
		},
	}
	flags := root.PersistentFlags()
	s.reachFlags(flags)
	flags.StringVar(&s.output, "output", "table", "table, json, yaml or csv")
	flags.DurationVar(&s.timeout, "timeout", 30*time.Second, "longest time for one call")
	root.AddCommand(
		s.studioCommand(), s.roomCommand(), s.equipmentCommand(circuitKind), s.equipmentCommand(supplyKind),
		s.equipmentCommand(furnaceKind), s.equipmentCommand(hoursKind), s.closureCommand(), s.vesselCommand(), s.gearCommand(),
		s.materialCommand(), s.lotCommand(), s.recipeCommand(), s.runCommand(), s.firingCommand(), s.openingCommand(),
		s.requestCommand(), s.readingCommand(), s.weekCommand(), s.dayCommand(),
		s.reportCommand(), s.departmentCommand(), s.personCommand(), s.clearanceCommand(),
		s.allotmentCommand(), s.taughtCommand(), s.limitCommand(), s.keyCommand(), s.callerCommand(),
		s.signInCommand(), s.signOutCommand(), s.contextCommand(),
		s.traceCommand(), s.changeCommand(), s.feedCommand(), s.mailCommand(),
		s.formulaCommand(), s.airCommand(), s.heatCommand(), s.gasCommand(),
	)
	plainArguments(root)
	return root
}

// reachFlags say which server is meant, and as whom.
func (s *shell) reachFlags(flags *pflag.FlagSet) {
	text := func(into *string, name, variable, usage string) {
		flags.StringVar(into, name, s.env(variable, ""), usage+" ["+variable+"]")
	}
	text(&s.server, "server", "SAGGAR_SERVER", "server's address; without it the context's, or "+api.DefaultAddress)
	text(&s.studio, "studio", "SAGGAR_STUDIO", "id of the studio")
	text(&s.keyFile, "key-file", "SAGGAR_KEY_FILE", "file with your key; without it SAGGAR_KEY or the context's")
	text(&s.contextName, "context", "SAGGAR_CONTEXT", "where you are signed in, when not the current one")
	flags.BoolVar(&s.tls.Always, "tls", s.env("SAGGAR_TLS", "") == "true", "speak TLS to a loopback address too [SAGGAR_TLS=true]")
	text(&s.tls.Fingerprint, "fingerprint", "SAGGAR_FINGERPRINT", "server's fingerprint; without it the context's")
	text(&s.tls.CertificateFile, "certificate", "SAGGAR_CERTIFICATE", "your certificate, PEM, for servers that ask for one")
	text(&s.tls.KeyFile, "certificate-key", "SAGGAR_CERTIFICATE_KEY", "your certificate's key, PEM")
}

func (s *shell) env(name, otherwise string) string {
	if value, ok := s.lookupEnv(name); ok && value != "" {
		return value
	}
	return otherwise
}

// firstKeyFile is where a server started by the same user keeps its first key.
func (s *shell) firstKeyFile() string {
	if os.Geteuid() == 0 {
		return "/var/lib/saggar/first.key"
	}
	if dir := s.env("XDG_DATA_HOME", ""); filepath.IsAbs(dir) {
		return filepath.Join(dir, "saggar", "first.key")
	}
	return filepath.Join(s.env("HOME", "."), ".local", "share", "saggar", "first.key")
}

// print writes an answer in the format asked for.
func (s *shell) print(value any, grids func() []render.Grid) error {
	return render.Write(s.out, s.format, value, grids)
}

// dial connects to the server with the caller's key.
func (s *shell) dial(context.Context) (*api.Connection, error) {
	if err := s.settle(); err != nil {
		return nil, err
	}
	key, err := s.key()
	if err != nil {
		return nil, badInput(err)
	}
	return s.dialWith(key)
}

func (s *shell) dialWith(key string) (*api.Connection, error) {
	connection, err := api.Dial(api.Options{Address: s.server, Key: key, Timeout: s.timeout, TLS: s.tls})
	return connection, badInput(err)
}

// mostNamed is how many studios are named when one must be chosen.
const mostNamed = 10

// findStudio finds out which studio is meant: the one that was named, or the only one that the caller may see.
func (s *shell) findStudio(ctx context.Context, connection *api.Connection) error {
	if s.studio != "" {
		return nil
	}
	page, err := connection.Studios.ListStudios(ctx, &saggarv1.ListStudiosRequest{PageSize: mostNamed})
	if err != nil {
		return err
	}
	var ids []string
	for _, studio := range page.GetStudios() {
		ids = append(ids, shortName(studio.GetName()))
	}
	switch {
	case len(ids) == 0:
		return badInput(errors.New("no studio: the server has none that you may see; load one with 'saggar studio load'"))
	case len(ids) > 1 || page.GetNextPageToken() != "":
		return badInput(fmt.Errorf("no studio: name one with --studio or SAGGAR_STUDIO: %s", strings.Join(ids, ", ")))
	}
	s.studio = ids[0]
	return nil
}

// inStudio runs fn with a connection and the studio's name.
func (s *shell) inStudio(ctx context.Context, fn func(connection *api.Connection, parent string) error) error {
	if err := s.settle(); err != nil {
		return err
	}
	if s.studio != "" {
		if err := file.CheckID(s.studio); err != nil {
			return badInput(fmt.Errorf("--studio: %w", err))
		}
	}
	return s.connected(ctx, func(connection *api.Connection) error {
		if err := s.findStudio(ctx, connection); err != nil {
			return err
		}
		return fn(connection, "studios/"+s.studio)
	})
}

// connected runs fn with a connection.
func (s *shell) connected(ctx context.Context, fn func(connection *api.Connection) error) error {
	connection, err := s.dial(ctx)
	if err != nil {
		return err
	}
	defer connection.Close()
	return fn(connection)
}

// group is a noun whose verbs are its sub-commands.
func group(use, short string, verbs ...*cobra.Command) *cobra.Command {
	command := &cobra.Command{
		Use: use, Short: short, Args: cobra.NoArgs, DisableFlagsInUseLine: true,
		RunE: func(c *cobra.Command, _ []string) error { return c.Help() },
	}
	command.AddCommand(verbs...)
	return command
}
