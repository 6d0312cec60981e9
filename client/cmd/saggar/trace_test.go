package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/types/known/timestamppb"

	saggarv1 "saggar/proto/saggar/v1"
)

func TestTheTraceIsListedVerifiedAndExported(t *testing.T) {
	f := newFakeServer(t)
	link := strings.Repeat("ab", 32)
	change := &saggarv1.Change{
		Name: "studios/marl-lane/changes/7", Revision: 7, Caller: "ada", Address: "192.0.2.1", Method: "UpdateRoom", Subject: "rooms/bay",
		ChangeTime: timestamppb.Now(), After: `{"a":1}`, ChainSha256: link,
	}
	f.answer("ListChanges", &saggarv1.ListChangesResponse{Changes: []*saggarv1.Change{change}, NextPageToken: "t"},
		&saggarv1.ListChangesResponse{Changes: []*saggarv1.Change{change}})
	out := f.succeed("trace", "list", "--output", "csv", "--after-revision", "6")
	assert.Equal(t, 2, strings.Count(out, "ada,192.0.2.1,UpdateRoom,rooms/bay"), out)
	assert.EqualValues(t, 6, asked[*saggarv1.ListChangesRequest](f).GetAfterRevision())

	f.answer("ListChanges", &saggarv1.ListChangesResponse{Changes: []*saggarv1.Change{change}})
	path := filepath.Join(f.dir, "trace.jsonl")
	f.succeed("trace", "export", "--file", path)
	info, err := os.Stat(path)
	require.NoError(t, err)
	assert.Equal(t, os.FileMode(0o600), info.Mode().Perm())
	assert.Equal(t, 2, f.run("trace", "export", "--file", path).code, "nothing is overwritten")

	f.answer("VerifyTrace", &saggarv1.TraceReport{ChangeCount: 7, HeadCount: 1, Head: &saggarv1.TraceHead{Revision: 7, ChainSha256: link}})
	assert.Contains(t, f.succeed("trace", "verify", "--head-file", path), "whole")
	assertSame(t, &saggarv1.TraceHead{Revision: 7, ChainSha256: link}, asked[*saggarv1.VerifyTraceRequest](f).GetHeads()[0])

	server := filepath.Join(f.dir, "heads.jsonl")
	require.NoError(t, os.WriteFile(server, []byte(`{"studio":"other","revision":1,"chain_sha256":"`+link+`"}`+"\n"+
		`{"studio":"marl-lane","revision":2,"chain_sha256":"`+link+`"}`+"\n"), 0o600))
	f.answer("VerifyTrace", &saggarv1.TraceReport{Faults: []string{"revisions 5 to 5 are missing"}})
	r := f.run("trace", "verify", "--head-file", server)
	assert.Equal(t, 3, r.code)
	assert.Contains(t, r.out, "NOT WHOLE")
	assert.Len(t, asked[*saggarv1.VerifyTraceRequest](f).GetHeads(), 1)

	require.NoError(t, os.WriteFile(server, []byte(`{"studio":"","revision":3,"chain_sha256":"`+link+`"}`+"\n"+
		`{"studio":"marl-lane","revision":2,"chain_sha256":"`+link+`"}`+"\n"), 0o600))
	f.answer("VerifyTrace", &saggarv1.TraceReport{ChangeCount: 3})
	f.succeed("trace", "verify", "--server-wide", "--head-file", server)
	verified := asked[*saggarv1.VerifyTraceRequest](f)
	assert.Empty(t, verified.GetName())
	require.Len(t, verified.GetHeads(), 1)
	assert.EqualValues(t, 3, verified.GetHeads()[0].GetRevision(), "the server's heads name no studio")
	f.answer("ListChanges", &saggarv1.ListChangesResponse{Changes: []*saggarv1.Change{{
		Name: "changes/1", Revision: 1, Caller: "saggard", Method: "FirstKey", Subject: "accessKeys/k1", ChangeTime: timestamppb.Now(),
	}}})
	assert.Contains(t, f.succeed("trace", "list", "--server-wide"), "accessKeys/k1")
	assert.Empty(t, asked[*saggarv1.ListChangesRequest](f).GetParent())

	require.NoError(t, os.WriteFile(server, []byte("{"), 0o600))
	assert.Equal(t, 2, f.run("trace", "verify", "--head-file", server).code)
	assert.Equal(t, 2, f.run("trace", "verify", "--head-file", f.dir+"/none").code)
}
