#!/usr/bin/env bash
# Shows the main job on an invented studio: load it, check a recipe, plan a shared week of three departments at once and book it,
# see a clash refused and planned again, alternatives, a closure and the moves that it asks for, an over-limit firing refused
# and cured, the week. Installs PostgreSQL if it is missing, uses a private database in a temporary folder, stops everything at
# the end.
#
#   bash deploy/try.sh          run through and clean up
#   bash deploy/try.sh --keep   leave the server running and say how to talk to it
set -euo pipefail
cd "$(dirname "$0")/.."

keep=no
case "${1:-}" in
"") ;;
--keep) keep=yes ;;
*) echo "try.sh: unknown option $1; it takes --keep or nothing" >&2; exit 2 ;;
esac

command -v go >/dev/null || { echo "try.sh: Go is missing; install Go 1.26 or newer, then run this again" >&2; exit 1; }
. deploy/install_postgres.sh
install_postgres || exit 1

work=$(mktemp -d)
chmod 711 "$work" # PostgreSQL runs as its own user when this is root, and must pass
go build -o "$work/bin/" ./server/cmd/saggard ./client/cmd/saggar
export PATH=$work/bin:$PATH
export SAGGAR_SERVER=unix:$work/saggar.sock SAGGAR_STUDIO=marl-lane XDG_CONFIG_HOME=$work/config

# Calendars are served on a port of this machine that nobody listens on.
port=$((20000 + RANDOM % 10000))
while (: >"/dev/tcp/127.0.0.1/$port") 2>/dev/null; do port=$((port + 1)); done

# The demo plays in the week of 1 March 2027; the server's clock starts there.
saggard --data-dir "$work/data" --listen "$SAGGAR_SERVER" --feed-listen "127.0.0.1:$port" --clock-start 2027-02-27T09:00:00Z --log-level warn \
  >"$work/saggard.log" 2>&1 &
server=$!
finish() {
  code=$?
  if [ $code -eq 0 ] && [ $keep = yes ]; then
    cat <<EOT

The server goes on (process $server, data in $work). To talk to it:
  export PATH=$work/bin:\$PATH
  export XDG_CONFIG_HOME=$XDG_CONFIG_HOME
  saggar week --from 2027-03-01
To end it: kill $server; rm -r $work
EOT
    exit 0
  fi
  kill "$server" 2>/dev/null && wait "$server" 2>/dev/null || true
  [ $code -eq 0 ] || { echo "try.sh: failed; the server said:" >&2; cat "$work/saggard.log" >&2; }
  rm -rf "$work"
  exit $code
}
trap finish EXIT
for _ in $(seq 400); do
  [ -S "$work/saggar.sock" ] && [ -s "$work/data/first.key" ] && saggar caller show --key-file "$work/data/first.key" >/dev/null 2>&1 && break
  kill -0 "$server" 2>/dev/null || exit 1
  sleep 0.1
done

# The first key is good for one exchange; the lasting one is kept as a context in the config folder.
saggar sign-in --context steward --key-file "$work/data/first.key" >/dev/null

SAGGAR_FINGERPRINT=$(sed -n 's/^saggard: fingerprint //p' "$work/saggard.log")
export SAGGAR_FINGERPRINT

cd "$work"
ln -s "$OLDPWD/deploy/demo" demo

say() { printf '\n# %s\n' "$*"; }
# show prints a command as one would type it, runs it, and expects an exit code (0 unless given with =N).
show() {
  want=0
  case $1 in =*) want=${1#=}; shift ;; esac
  printf '$ saggar'
  for word in "$@"; do
    case $word in *\ *) printf ' "%s"' "$word" ;; *) printf ' %s' "$word" ;; esac
  done
  printf '\n'
  got=0
  saggar "$@" || got=$?
  [ $got -eq "$want" ] || { echo "try.sh: expected exit code $want, got $got" >&2; exit 1; }
  [ "$want" -eq 0 ] || echo "(exit code $want)"
}

# joins gives somebody a key and signs them in, as the README shows for one of them.
joins() {
  saggar key create "$1" --role "$2" --secret-file "$1.key" --context steward >/dev/null
  saggar sign-in --context "$1" --key-file "$1.key" >/dev/null
}

. demo/tour.sh
