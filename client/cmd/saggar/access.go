package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"saggar/client/api"
	"saggar/client/file"
	"saggar/client/render"
	saggarv1 "saggar/proto/saggar/v1"
)

func (s *shell) keyCommand() *cobra.Command {
	return group("key", "Keys: who may come in",
		s.keyCreateCommand(), s.keyListCommand(), s.keyRevokeCommand(), s.keyExchangeCommand())
}

// keyScope is whether a verb is about the keys of one studio, or their trace, or about those of the whole server.
type keyScope struct{ serverWide bool }

func (k *keyScope) flag(c *cobra.Command) {
	c.Flags().BoolVar(&k.serverWide, "server-wide", false, "keys that open every studio instead of one studio's")
}

func (k *keyScope) traceFlag(c *cobra.Command) {
	c.Flags().BoolVar(&k.serverWide, "server-wide", false, "the trace of keys that open every studio instead of one studio's")
}

// within runs fn with a connection and the studio's name, or an empty one for the whole server.
func (s *shell) within(c *cobra.Command, scope keyScope, fn func(connection *api.Connection, parent string) error) error {
	if scope.serverWide {
		return s.connected(c.Context(), func(connection *api.Connection) error { return fn(connection, "") })
	}
	return s.inStudio(c.Context(), fn)
}

func (s *shell) keyCreateCommand() *cobra.Command {
	var role, label, expires, out string
	var scope keyScope
	create := &cobra.Command{
		Use:     "create CALLER --role viewer|maker|technician|steward",
		Example: "  saggar key create ada --role maker --label laptop --expires 2027-09-30 --secret-file ada.key",
		Short:   "Make a key; its secret is shown once", Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			key := &saggarv1.AccessKey{Caller: args[0], Label: label}
			value, err := file.EnumNumber(key.GetRole().Descriptor(), role)
			if err != nil {
				return badInput(err)
			}
			key.Role = saggarv1.Role(value)
			if key.ExpireTime, err = expiry(expires); err != nil {
				return badInput(err)
			}
			return s.within(c, scope, func(connection *api.Connection, parent string) error {
				made, err := connection.Access.CreateAccessKey(c.Context(), &saggarv1.CreateAccessKeyRequest{AccessKey: key, Parent: parent})
				if err != nil {
					return err
				}
				return s.showSecret(made, out)
			})
		},
	}
	flags := create.Flags()
	flags.StringVar(&role, "role", "maker", "viewer, maker, technician or steward; a person's own role may be less")
	flags.StringVar(&label, "label", "", "what it is for, such as laptop")
	flags.StringVar(&expires, "expires", "", "last day on which it opens anything, YYYY-MM-DD in UTC; without it, until it is revoked")
	flags.StringVar(&out, "secret-file", "", "write the secret to this new file, mode 0600, instead of showing it")
	scope.flag(create)
	return create
}

// expiry is the end of a day in UTC; nil for none.
func expiry(day string) (*timestamppb.Timestamp, error) {
	if day == "" {
		return nil, nil
	}
	start, err := time.Parse(time.DateOnly, day)
	if err != nil {
		return nil, fmt.Errorf("--expires: %q is no date: give YYYY-MM-DD", day)
	}
	return timestamppb.New(start.AddDate(0, 0, 1)), nil
}

// showSecret prints a key that was just made, or puts its secret into a file.
func (s *shell) showSecret(made *saggarv1.AccessKey, path string) error {
	columns, secret := []string{"caller", "role", "secret (shown once; keep it in a file with mode 0600)"}, made.GetSecret()
	if s.keptSecret(path, secret, "secret") {
		made = proto.CloneOf(made)
		made.Secret = ""
		columns[2], secret = "secret in", path
	}
	return s.print(made, func() []render.Grid {
		return []render.Grid{{Columns: columns, Rows: [][]string{{made.GetCaller(), render.Enum(made.GetRole()), secret}}}}
	})
}

// keptSecret puts what is shown once into a file, where one was named. One that cannot be written is shown after all: it stands
// and nobody has it.
func (s *shell) keptSecret(path, secret, word string) bool {
	if path == "" {
		return false
	}
	err := writeSecret(path, secret)
	if err != nil {
		fmt.Fprintf(s.errOut, "saggar: the %s could not be written, so it is shown here: %v\n", word, err)
	}
	return err == nil
}

// writeSecret makes a file that only its owner reads; one that is there is left alone.
func writeSecret(path, secret string) (err error) {
	out, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, out.Close()) }()
	_, err = io.WriteString(out, secret+"\n")
	return err
}

func (s *shell) keyListCommand() *cobra.Command {
	var scope keyScope
	var ended bool
	list := &cobra.Command{
		Use: "list", Short: "List keys: a steward's answer holds all, anybody else's their own", Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			return s.within(c, scope, func(connection *api.Connection, parent string) error {
				all, err := pages(func(token string) (proto.Message, string, error) {
					page, err := connection.Access.ListAccessKeys(c.Context(), &saggarv1.ListAccessKeysRequest{
						Parent: parent, PageToken: token, ShowEnded: ended,
					})
					return page, page.GetNextPageToken(), err
				})
				if err != nil {
					return err
				}
				return s.print(all, func() []render.Grid { return []render.Grid{keyGrid(elements(all))} })
			})
		},
	}
	list.Flags().BoolVar(&ended, "show-ended", false, "also those that expired or were revoked")
	scope.flag(list)
	return list
}

func keyGrid(keys []proto.Message) render.Grid {
	grid := render.Grid{Columns: []string{"key", "caller", "role", "label", "made", "last used", "expires", "revoked"}}
	for _, m := range keys {
		k := m.(*saggarv1.AccessKey)
		grid.Rows = append(grid.Rows, []string{
			shortName(k.GetName()), k.GetCaller(), render.Enum(k.GetRole()), k.GetLabel(), universal(k.GetCreateTime()),
			universal(k.GetLastUseTime()), universal(k.GetExpireTime()), universal(k.GetRevokeTime()),
		})
	}
	return grid
}

// universal shows an instant in UTC, or a dash: keys of the whole server have no studio's time.
func universal(t *timestamppb.Timestamp) string {
	if t == nil {
		return "-"
	}
	return t.AsTime().UTC().Format("2006-01-02 15:04Z")
}

func (s *shell) keyRevokeCommand() *cobra.Command {
	var scope keyScope
	revoke := &cobra.Command{
		Use: "revoke KEY", Example: "  saggar key revoke k3f9c2a17e0b4d855",
		Short: "Revoke a key for good; 'saggar key list' names them", Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			return s.within(c, scope, func(connection *api.Connection, parent string) error {
				name := strings.TrimPrefix(parent+"/accessKeys/"+args[0], "/")
				revoked, err := connection.Access.RevokeAccessKey(c.Context(), &saggarv1.RevokeAccessKeyRequest{Name: name})
				if err != nil {
					return err
				}
				return s.print(revoked, func() []render.Grid { return []render.Grid{keyGrid([]proto.Message{revoked})} })
			})
		},
	}
	scope.flag(revoke)
	return revoke
}

func (s *shell) keyExchangeCommand() *cobra.Command {
	var label, out string
	exchange := &cobra.Command{
		Use: "exchange", Args: cobra.NoArgs,
		Short: "Change your key: a new one takes the place of the one in use, which ends",
		RunE: func(c *cobra.Command, _ []string) error {
			return s.connected(c.Context(), func(connection *api.Connection) error {
				made, err := connection.Access.ExchangeAccessKey(c.Context(), &saggarv1.ExchangeAccessKeyRequest{Label: label})
				if err != nil {
					return err
				}
				if s.context != "" && s.keyFile == "" && out == "" {
					if err := s.config().WriteKey(s.context, made.GetSecret()); err != nil {
						fmt.Fprintln(s.errOut, "saggar: the new key could not be kept, so it is shown here:", err)
						return s.showSecret(made, "")
					}
					made.Secret = ""
					return s.print(made, func() []render.Grid { return []render.Grid{keyGrid([]proto.Message{made})} })
				}
				return s.showSecret(made, out)
			})
		},
	}
	exchange.Flags().StringVar(&label, "label", "", "what the new key is for; without it as the old one")
	exchange.Flags().StringVar(&out, "secret-file", "", "write the secret to this new file, mode 0600, instead of showing it")
	return exchange
}

func (s *shell) callerCommand() *cobra.Command {
	show := &cobra.Command{
		Use: "show", Short: "Show who your key stands for", Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			return s.connected(c.Context(), func(connection *api.Connection) error {
				caller, err := connection.Access.GetCaller(c.Context(), &saggarv1.GetCallerRequest{})
				if err != nil {
					return err
				}
				return s.print(caller, func() []render.Grid { return callerGrids(caller) })
			})
		},
	}
	return group("caller", "Who you are to the server", show)
}

// callerGrids shows what somebody may do: everywhere, or by studio.
func callerGrids(caller *saggarv1.Caller) []render.Grid {
	if len(caller.GetMemberships()) == 0 {
		return []render.Grid{{
			Columns: []string{"caller", "role"}, Rows: [][]string{{caller.GetId(), render.Enum(caller.GetRole())}},
		}}
	}
	grid := render.Grid{Columns: []string{"caller", "role", "studio"}}
	for _, m := range caller.GetMemberships() {
		grid.Rows = append(grid.Rows, []string{m.GetPerson(), render.Enum(m.GetRole()), shortName(m.GetStudio())})
	}
	return []render.Grid{grid}
}
