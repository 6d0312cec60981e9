package rpc

import (
	"context"
	"crypto/sha256"
	"encoding/base64"
	"strings"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"saggar/chem/finding"
	"saggar/proto/convert"
)

const (
	defaultPageSize = 100
	mostPageSize    = 1000
	// mostPageBytes keeps an answer under the 4 MiB that gRPC clients accept unless told otherwise.
	mostPageBytes  = 3 << 20
	tokenHashBytes = 8
)

// listRequest is the request of a List method.
type listRequest interface {
	proto.Message
	GetPageSize() int32
	GetPageToken() string
}

// parentListRequest is the request of a List method below a studio.
type parentListRequest interface {
	listRequest
	GetParent() string
}

// named is a message with a resource's name.
type named interface {
	proto.Message
	GetName() string
}

// pageSize is how many a request asks for, within bounds.
func pageSize(req listRequest) int {
	if req.GetPageSize() <= 0 {
		return defaultPageSize
	}
	return min(int(req.GetPageSize()), mostPageSize)
}

// pagePosition reads where a page token says to go on; empty is the start. A token is tied to the other arguments of its
// request, so one from another list, another filter or another caller's answer is a fault. It gives no right: whoever makes
// one by hand only begins somewhere else in a list that they may read.
func pagePosition(ctx context.Context, req listRequest) (string, error) {
	if req.GetPageToken() == "" {
		return "", nil
	}
	raw, err := base64.RawURLEncoding.Strict().DecodeString(req.GetPageToken())
	if err != nil || len(raw) <= tokenHashBytes || string(raw[:tokenHashBytes]) != argumentsHash(ctx, req) {
		return "", badToken()
	}
	position := string(raw[tokenHashBytes:])
	if strings.ContainsFunc(position, isNoPosition) {
		return "", badToken()
	}
	return position, nil
}

// isNoPosition tells what stands in no id and no number, and which the database might not even take for text.
func isNoPosition(r rune) bool { return r < ' ' || r > '~' }

func badToken() error {
	return finding.Faults{{
		Field: "page_token", Message: "does not come from an answer to this request",
		Cure: "repeat the request with the same arguments as before, or begin without a token",
	}}
}

// pageToken makes the token that goes on after a position.
func pageToken(ctx context.Context, req listRequest, position string) string {
	return base64.RawURLEncoding.EncodeToString([]byte(argumentsHash(ctx, req) + position))
}

// argumentsHash covers everything that decides which list it is: the request's type, its arguments but for the size and the
// token, and who asks.
func argumentsHash(ctx context.Context, req listRequest) string {
	rest := proto.Clone(req)
	m := rest.ProtoReflect()
	for _, name := range []protoreflect.Name{"page_size", "page_token"} {
		m.Clear(m.Descriptor().Fields().ByName(name))
	}
	about := string(m.Descriptor().FullName()) + "\x00" + requestOf(ctx).caller.ID + "\x00"
	hash := sha256.Sum256(append([]byte(about), deterministic(rest)...))
	return string(hash[:tokenHashBytes])
}

// deterministic encodes a message alike each time within one build.
func deterministic(m proto.Message) []byte {
	// Marshalling fails only for text that is no UTF-8, which did not pass the reading of the request.
	encoded, _ := proto.MarshalOptions{Deterministic: true}.Marshal(m)
	return encoded
}

// cutPage turns what was found, one more than asked where there is more, into a page and the token of the next.
func cutPage[T any, M proto.Message](
	ctx context.Context, req listRequest, found []T, toProto func(T) M, position func(T) string,
) ([]M, string) {
	page := make([]M, 0, min(len(found), pageSize(req)))
	bytes := 0
	for i, item := range found {
		m := toProto(item)
		bytes += proto.Size(m)
		if i == pageSize(req) || (i > 0 && bytes > mostPageBytes) {
			return page, pageToken(ctx, req, position(found[i-1]))
		}
		page = append(page, m)
	}
	return page, ""
}

// cutVersions does so for the newest versions of what a studio keeps in versions, by id.
func cutVersions[T any, M named](
	ctx context.Context, req parentListRequest, found []T, toProto func(studio string, item T) M,
) ([]M, string) {
	studio := studioOf(req.GetParent())
	return cutPage(ctx, req, found, func(item T) M { return toProto(studio, item) },
		func(item T) string { return convert.ID(toProto(studio, item).GetName()) })
}
