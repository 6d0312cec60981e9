#!/usr/bin/env bash
# Installs what the tests need and runs all of them: contract, generated code, formatting, unit, race, database, the built
# binaries end to end, the README's blocks. Ends with how many values were held against published sources.
set -euo pipefail
cd "$(dirname "$0")/.."

say() { printf '\n== %s\n' "$*"; }

command -v go >/dev/null || { echo "test.sh: Go is missing; install Go 1.26 or newer" >&2; exit 1; }
. deploy/install_postgres.sh
install_postgres
# The race detector needs a C compiler.
if ! command -v gcc >/dev/null; then
  postgres_packages update && postgres_packages install --no-install-recommends gcc libc6-dev ||
    { echo "test.sh: gcc is missing and 'apt-get install gcc libc6-dev' failed" >&2; exit 1; }
fi

# The TLS tests need an independent client.
if ! command -v openssl >/dev/null; then
  postgres_packages update && postgres_packages install --no-install-recommends openssl ||
    { echo "test.sh: openssl is missing and 'apt-get install openssl' failed" >&2; exit 1; }
fi

tools=$(mktemp -d)
trap 'rm -rf "$tools"' EXIT
buf_version=1.75.0
say "contract and generated code"
GOBIN=$tools go install "github.com/bufbuild/buf/cmd/buf@v$buf_version"
GOBIN=$tools go install google.golang.org/protobuf/cmd/protoc-gen-go@v1.36.12
GOBIN=$tools go install google.golang.org/grpc/cmd/protoc-gen-go-grpc@v1.6.2
GOBIN=$tools go install github.com/sqlc-dev/sqlc/cmd/sqlc@v1.31.1
export PATH=$tools:$PATH
(
  cd proto
  buf lint
  buf format --diff --exit-code --path saggar
  main=$(git rev-parse --verify --quiet origin/main || true)
  if [ -n "$main" ] && git cat-file -e "$main:proto/buf.yaml" 2>/dev/null; then
    buf breaking --against "../.git#ref=$main,subdir=proto"
  else
    echo "no published contract to compare with yet"
  fi
)
fresh=$tools/fresh
mkdir "$fresh"
cp -r proto migrations server "$fresh"/
(cd "$fresh/proto" && buf generate --path saggar)
(cd "$fresh/server/store" && sqlc generate)
diff -r proto "$fresh/proto"
diff -r server/store/queries "$fresh/server/store/queries"
echo "generated code is fresh"

say "format and vet"
unformatted=$(gofmt -l chem client migrations proto scheduler server)
[ -z "$unformatted" ] || { echo "not formatted: $unformatted" >&2; exit 1; }
go vet ./...

say "all tests"
go test -timeout 15m ./...

say "with the race detector"
go test -race -timeout 15m ./server/app ./server/rpc ./server/store ./client/...

say "fuzz targets, briefly"
# A count and not a time: until Go 1.27 the fuzzer may take its own deadline for a failure (go.dev/issue/75804).
for target in $(grep -rl --include='*_test.go' '^func Fuzz' chem client scheduler server proto | xargs -r -n1 dirname | sort -u); do
  for name in $(grep -rhoE '^func Fuzz[A-Za-z0-9]+' "$target"/*_test.go | sed 's/^func //'); do
    go test -run '^$' -fuzz "^$name\$" -fuzztime 30000x "./$target"
  done
done

say "outside checks"
checks=$(go test -v -run '^TestPublished' ./chem/... ./server/certificate ./scheduler/race | grep -cE '^ +--- PASS: TestPublished')
echo "outside checks: $checks"
echo "each is a value held against a published table or a worked example, its source beside it; the 77 of the worked balances are"
echo "batches made up and worked by hand"
