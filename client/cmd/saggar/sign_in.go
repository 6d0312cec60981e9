package main

import (
	"bufio"
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"
	"golang.org/x/term"

	"saggar/client/account"
	"saggar/client/api"
	"saggar/client/file"
	"saggar/client/render"
	saggarv1 "saggar/proto/saggar/v1"
)

// mostTypedBytes bounds an answer and a key.
const mostTypedBytes = 8192

func (s *shell) signInCommand() *cobra.Command {
	return &cobra.Command{
		Use: "sign-in", Args: cobra.NoArgs,
		Example: "  saggar sign-in --server kiln.example.edu:7817 --context north",
		Short:   "Keep a key and its server as a context, so that no verb needs them again",
		Long: "Keep a key and its server as a context, so that no verb needs them again.\n\n" +
			"The key comes from --key-file, SAGGAR_KEY_FILE, SAGGAR_KEY, the first key of a server of yours on this machine, or a\n" +
			"prompt. A one-time key is exchanged for a lasting one. Keys are kept in your config folder, readable by you only.",
		RunE: func(c *cobra.Command, _ []string) error { return s.signIn(c.Context()) },
	}
}

func (s *shell) signIn(ctx context.Context) error {
	name := cmp.Or(s.contextName, s.studio, "default")
	if err := file.CheckID(name); err != nil {
		return badInput(fmt.Errorf("--context: %w", err))
	}
	book, err := s.config().Read()
	if err != nil {
		return badInput(err)
	}
	s.server, s.settled = cmp.Or(s.server, book.Contexts[name].Server, api.DefaultAddress), true
	if former := book.Contexts[name]; former.Server == s.server {
		s.tls = merged(s.tls, former) // signing in again is no way around a pinned server
	}
	typed := bufio.NewReader(io.LimitReader(s.in, mostTypedBytes))
	if err := s.meet(ctx, typed); err != nil {
		return err
	}
	key, err := s.givenKey(typed)
	if err != nil {
		return badInput(err)
	}
	given := key
	caller, key, err := s.introduce(ctx, given)
	if err != nil {
		return err
	}
	studio := s.studio
	if len(caller.GetMemberships()) == 1 && studio == "" {
		studio = shortName(caller.GetMemberships()[0].GetStudio())
	}
	kept := account.Context{
		Server: s.server, Studio: studio, TLS: s.tls.Always, Fingerprint: s.tls.Fingerprint,
		CertificateFile: absolute(s.tls.CertificateFile), KeyFile: absolute(s.tls.KeyFile),
	}
	if err := errors.Join(s.config().WriteKey(name, key), s.config().Write(book.With(name, kept))); err != nil {
		if key != given { // nobody else has it, and the former one is used up
			fmt.Fprintln(s.errOut, "saggar: the new key could not be kept, so it is shown here:", key)
		}
		return badInput(err)
	}
	return s.print(caller, func() []render.Grid {
		return append(callerGrids(caller), render.Grid{
			Columns: []string{"context", "server", "studio", "key"},
			Rows:    [][]string{{name, kept.Server, kept.Studio, s.config().KeyFile(name)}},
		})
	})
}

// absolute makes a path hold wherever the command is typed next; empty stays empty.
func absolute(path string) string {
	if path == "" {
		return ""
	}
	full, err := filepath.Abs(path)
	if err != nil {
		return path
	}
	return full
}

// meet makes first contact with a server on a network: unless the system's authorities vouch for it, its fingerprint must
// have been given, or is shown and asked for, and is pinned.
func (s *shell) meet(ctx context.Context, typed *bufio.Reader) error {
	options := api.Options{Address: s.server, TLS: s.tls}
	if !api.SpeaksTLS(options) || s.tls.Fingerprint != "" {
		return nil
	}
	contact, err := api.Meet(ctx, options)
	if err != nil {
		return badInput(err)
	}
	if contact.Known {
		return nil
	}
	fmt.Fprintf(s.errOut, "%s shows the fingerprint\n  %s\nIs it the one that saggard printed there? (yes or no) ",
		s.server, contact.Fingerprint)
	answer, err := typed.ReadString('\n')
	fmt.Fprintln(s.errOut)
	if strings.TrimSpace(answer) != "yes" {
		return badInput(errors.Join(errors.New("not signed in: nobody has said that this is the right server; ask whoever runs it, "+
			"and give --fingerprint or answer yes"), ignoreEnd(err)))
	}
	s.tls.Fingerprint = contact.Fingerprint
	return nil
}

// ignoreEnd leaves out that nothing more was typed.
func ignoreEnd(err error) error {
	if errors.Is(err, io.EOF) {
		return nil
	}
	return err
}

// givenKey is the key to sign in with.
func (s *shell) givenKey(typed *bufio.Reader) (string, error) {
	_, err := os.Stat(s.firstKeyFile())
	if s.keyFile != "" || s.env("SAGGAR_KEY", "") != "" || err == nil && api.IsLocal(s.server) {
		s.context = ""
		return s.key()
	}
	fmt.Fprint(s.errOut, "Key: ")
	defer fmt.Fprintln(s.errOut)
	var text []byte
	if terminal, ok := s.in.(*os.File); ok && term.IsTerminal(int(terminal.Fd())) {
		text, err = term.ReadPassword(int(terminal.Fd())) // without showing it
	} else {
		text, err = typed.ReadBytes('\n')
		err = ignoreEnd(err)
	}
	if err != nil {
		return "", err
	}
	key := strings.TrimSpace(string(text))
	if key == "" {
		return "", errors.New("no key was given")
	}
	return key, nil
}

// introduce asks the server who the key stands for, and exchanges one that is for one use.
func (s *shell) introduce(ctx context.Context, key string) (*saggarv1.Caller, string, error) {
	caller, err := s.askWho(ctx, key)
	if err != nil || !caller.GetMustExchange() {
		return caller, key, err
	}
	connection, err := s.dialWith(key)
	if err != nil {
		return nil, "", err
	}
	defer connection.Close()
	made, err := connection.Access.ExchangeAccessKey(ctx, &saggarv1.ExchangeAccessKeyRequest{Label: "signed in"})
	if err != nil {
		return nil, "", err
	}
	// What is used up only misleads; that it cannot be removed harms nobody.
	_ = os.Remove(cmp.Or(s.keyFile, s.firstKeyFile()))
	caller, err = s.askWho(ctx, made.GetSecret())
	return caller, made.GetSecret(), err
}

func (s *shell) askWho(ctx context.Context, key string) (*saggarv1.Caller, error) {
	connection, err := s.dialWith(key)
	if err != nil {
		return nil, err
	}
	defer connection.Close()
	return connection.Access.GetCaller(ctx, &saggarv1.GetCallerRequest{})
}

func (s *shell) signOutCommand() *cobra.Command {
	return &cobra.Command{
		Use: "sign-out", Args: cobra.NoArgs,
		Short: "Forget a context and its key; 'saggar key revoke' makes the key worthless too",
		RunE: func(*cobra.Command, []string) error {
			book, err := s.config().Read()
			if err != nil {
				return badInput(err)
			}
			name, _, found, err := book.Named(s.contextName)
			if err != nil {
				return badInput(err)
			}
			if !found {
				return badInput(errors.New("you are not signed in"))
			}
			return errors.Join(s.config().RemoveKey(name), s.config().Write(book.Without(name)))
		},
	}
}

func (s *shell) contextCommand() *cobra.Command {
	list := &cobra.Command{
		Use: "list", Short: "List where you are signed in", Args: cobra.NoArgs,
		RunE: func(*cobra.Command, []string) error {
			book, err := s.config().Read()
			if err != nil {
				return badInput(err)
			}
			return s.printContexts(book)
		},
	}
	use := &cobra.Command{
		Use: "use CONTEXT", Example: "  saggar context use north", Short: "Use a context from now on", Args: cobra.ExactArgs(1),
		RunE: func(_ *cobra.Command, args []string) error {
			book, err := s.config().Read()
			if err != nil {
				return badInput(err)
			}
			name, _, _, err := book.Named(args[0])
			if err != nil {
				return badInput(err)
			}
			book.Current = name
			if err := s.config().Write(book); err != nil {
				return err
			}
			return s.printContexts(book)
		},
	}
	return group("context", "Where you are signed in", list, use)
}

// shownContext is a context as it is printed.
type shownContext struct {
	Name    string `json:"name"`
	Current bool   `json:"current"`
	Server  string `json:"server"`
	Studio  string `json:"studio"`
}

func (s *shell) printContexts(book account.Book) error {
	shown := []shownContext{}
	grid := render.Grid{Columns: []string{"context", "current", "server", "studio"}}
	for _, name := range book.Names() {
		c := shownContext{name, name == book.Current, book.Contexts[name].Server, book.Contexts[name].Studio}
		shown = append(shown, c)
		grid.Rows = append(grid.Rows, []string{c.Name, yes(c.Current), c.Server, c.Studio})
	}
	return s.print(shown, func() []render.Grid { return []render.Grid{grid} })
}
