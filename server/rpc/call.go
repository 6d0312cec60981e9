package rpc

import (
	"context"
	"crypto/sha256"
	"strings"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"saggar/server/app"
)

// callOf says who asks, for what, and under which request id.
func callOf(ctx context.Context, req proto.Message) app.Call {
	r := requestOf(ctx)
	call := app.Call{
		Caller: r.caller, OwnOnly: r.ownOnly, KeyID: r.who.KeyID, Address: hostOf(ctx), ID: r.id, Method: shortMethod(r.method),
	}
	if asks, ok := req.(interface{ GetValidateOnly() bool }); ok {
		call.ValidateOnly = asks.GetValidateOnly()
	}
	if asks, ok := req.(interface{ GetRequestId() string }); ok && asks.GetRequestId() != "" {
		call.RequestID = strings.ToLower(asks.GetRequestId())
		call.BodySHA256 = bodyHash(req)
	}
	return call
}

// bodyHash covers the request but for its request id.
func bodyHash(req proto.Message) [sha256.Size]byte {
	body := proto.Clone(req)
	m := body.ProtoReflect()
	m.Clear(m.Descriptor().Fields().ByName(protoreflect.Name("request_id")))
	return sha256.Sum256(deterministic(body))
}
