// Package proto holds the service's contract. The messages and services are in saggar/v1, generated beside their .proto
// files; proto/convert turns messages into the value types of chem and back.
package proto

//go:generate go run github.com/bufbuild/buf/cmd/buf@v1.75.0 generate --path saggar
