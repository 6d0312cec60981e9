package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	"saggar/client/api"
	"saggar/client/render"
	saggarv1 "saggar/proto/saggar/v1"
)

func (s *shell) traceCommand() *cobra.Command {
	return group("trace", "The trace of every change: list, verify, export",
		s.traceListCommand(), s.traceVerifyCommand(), s.traceExportCommand())
}

// changes hands every change after a revision to fn, a page at a time.
func (s *shell) changes(
	ctx context.Context, connection *api.Connection, parent string, after int64, fn func([]*saggarv1.Change) error,
) error {
	request := &saggarv1.ListChangesRequest{Parent: parent, AfterRevision: after, PageSize: 1000}
	for {
		page, err := connection.Trace.ListChanges(ctx, request)
		if err != nil {
			return err
		}
		if err := fn(page.GetChanges()); err != nil || page.GetNextPageToken() == "" {
			return err
		}
		request.PageToken = page.GetNextPageToken()
	}
}

func (s *shell) traceListCommand() *cobra.Command {
	var after int64
	var scope keyScope
	list := &cobra.Command{
		Use: "list", Short: "List the changes of the studio, oldest first; --output json has before and after", Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			return s.within(c, scope, func(connection *api.Connection, parent string) error {
				zone, err := s.zone(c.Context(), connection, parent)
				if err != nil {
					return err
				}
				all := &saggarv1.ListChangesResponse{}
				err = s.changes(c.Context(), connection, parent, after, func(page []*saggarv1.Change) error {
					all.Changes = append(all.Changes, page...)
					return nil
				})
				if err != nil {
					return err
				}
				return s.print(all, func() []render.Grid { return []render.Grid{changeGrid(all.GetChanges(), zone)} })
			})
		},
	}
	list.Flags().Int64Var(&after, "after-revision", 0, "only changes after this revision")
	scope.traceFlag(list)
	return list
}

func changeGrid(changes []*saggarv1.Change, zone *time.Location) render.Grid {
	grid := render.Grid{Columns: []string{"revision", "when", "who", "from", "what", "about"}}
	for _, c := range changes {
		grid.Rows = append(grid.Rows, []string{
			strconv.FormatInt(c.GetRevision(), 10), localWithYear(c.GetChangeTime(), zone), c.GetCaller(), c.GetAddress(),
			c.GetMethod(), c.GetSubject(),
		})
	}
	return grid
}

func (s *shell) traceVerifyCommand() *cobra.Command {
	var headFile string
	var scope keyScope
	verify := &cobra.Command{
		Use: "verify", Args: cobra.NoArgs, Example: "  saggar trace verify --head-file trace-heads.jsonl",
		Short: "Look through the whole trace for what was altered, removed or cut off",
		Long: "Look through the whole trace for what was altered, removed or cut off.\n\n" +
			"The server compares with the heads that it kept outside the database. Heads that you kept yourself, copied from its file or\n" +
			"from the last line of an export, hold against whoever could alter that file too.",
		RunE: func(c *cobra.Command, _ []string) error {
			return s.within(c, scope, func(connection *api.Connection, parent string) error {
				heads, err := readHeads(headFile, strings.TrimPrefix(parent, "studios/"))
				if err != nil {
					return badInput(err)
				}
				report, err := connection.Trace.VerifyTrace(c.Context(), &saggarv1.VerifyTraceRequest{Name: parent, Heads: heads})
				if err != nil {
					return err
				}
				if err := s.print(report, func() []render.Grid { return traceGrids(report) }); err != nil {
					return err
				}
				if len(report.GetFaults()) > 0 {
					return errRefused
				}
				return nil
			})
		},
	}
	verify.Flags().StringVar(&headFile, "head-file", "",
		"heads kept by you: lines of JSON with revision and chain_sha256, as in the server's file or an export")
	scope.traceFlag(verify)
	return verify
}

func traceGrids(report *saggarv1.TraceReport) []render.Grid {
	verdict := "whole"
	if len(report.GetFaults()) > 0 {
		verdict = "NOT WHOLE"
	}
	grids := []render.Grid{{
		Columns: []string{"trace", "changes", "without link", "heads compared", "ends at", "link"},
		Rows: [][]string{{
			verdict, fmt.Sprint(report.GetChangeCount()), fmt.Sprint(report.GetUnlinkedCount()), fmt.Sprint(report.GetHeadCount()),
			fmt.Sprint(report.GetHead().GetRevision()), report.GetHead().GetChainSha256(),
		}},
	}}
	if len(report.GetFaults()) > 0 {
		faults := render.Grid{Columns: []string{"what is wrong"}}
		for _, fault := range report.GetFaults() {
			faults.Rows = append(faults.Rows, []string{fault})
		}
		grids = append(grids, faults)
	}
	return grids
}

// mostHeads is how many heads the server takes; the newest say most.
const mostHeads = 1000

// readHeads reads kept heads, one JSON object after the other. Those that name another studio are left out; the server's file
// names none, in so many words, for the server as a whole.
func readHeads(path, studio string) ([]*saggarv1.TraceHead, error) {
	if path == "" {
		return nil, nil
	}
	in, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("--head-file: %w", err)
	}
	defer in.Close()
	var heads []*saggarv1.TraceHead
	lines := json.NewDecoder(in)
	for {
		var line struct {
			Studio      *string     `json:"studio"`
			Revision    json.Number `json:"revision"`
			ChainSHA256 string      `json:"chain_sha256"`
		}
		err := lines.Decode(&line)
		if errors.Is(err, io.EOF) {
			return heads[max(0, len(heads)-mostHeads):], nil
		}
		revision, numberErr := line.Revision.Int64()
		if err := errors.Join(err, numberErr); err != nil {
			return nil, fmt.Errorf("--head-file %s: %w", path, err)
		}
		if line.Studio == nil || *line.Studio == studio {
			heads = append(heads, &saggarv1.TraceHead{Revision: revision, ChainSha256: line.ChainSHA256})
		}
	}
}

func (s *shell) traceExportCommand() *cobra.Command {
	var after int64
	var path string
	var scope keyScope
	export := &cobra.Command{
		Use: "export", Args: cobra.NoArgs, Example: "  saggar trace export --file trace.jsonl",
		Short: "Write all changes as lines of JSON, with before, after and links",
		RunE: func(c *cobra.Command, _ []string) error {
			return s.within(c, scope, func(connection *api.Connection, parent string) (err error) {
				out := s.out
				if path != "" {
					file, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
					if err != nil {
						return badInput(fmt.Errorf("--file: %w", err))
					}
					defer func() { err = errors.Join(err, file.Close()) }()
					out = file
				}
				return s.changes(c.Context(), connection, parent, after, func(page []*saggarv1.Change) error {
					return writeLines(out, page)
				})
			})
		},
	}
	export.Flags().Int64Var(&after, "after-revision", 0, "only changes after this revision")
	export.Flags().StringVar(&path, "file", "", "new file, mode 0600; without it standard output")
	scope.traceFlag(export)
	return export
}

func writeLines[M proto.Message](out io.Writer, page []M) error {
	for _, m := range page {
		line, err := protojson.MarshalOptions{UseProtoNames: true}.Marshal(m)
		if err != nil {
			return err
		}
		if _, err := out.Write(append(line, '\n')); err != nil {
			return err
		}
	}
	return nil
}
