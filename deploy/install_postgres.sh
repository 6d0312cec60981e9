#!/bin/sh
# Installs PostgreSQL where none is installed: Debian and Ubuntu, as root or with sudo. Run it, or source it and call
# install_postgres, which returns 0 when initdb is there at the end. Prints nothing when all is well, otherwise one line.
#
# Only the programs are wanted, since saggard runs a private cluster. Debian's package would make and start a cluster of
# its own at installation, which a file of ours prevents; remove the file to have that back.

postgres_is_installed() {
	command -v initdb >/dev/null 2>&1 && return 0
	for postgres_initdb in /usr/lib/postgresql/*/bin/initdb; do
		[ -x "$postgres_initdb" ] && return 0
	done
	return 1
}

postgres_as_root() {
	if [ "$(id -u)" -eq 0 ]; then
		"$@"
	else
		sudo "$@"
	fi
}

postgres_packages() {
	postgres_as_root env DEBIAN_FRONTEND=noninteractive apt-get -qq -o DPkg::Lock::Timeout=120 "$@" </dev/null
}

postgres_steps() {
	postgres_packages update || return 1
	postgres_packages install --no-install-recommends postgresql-common || return 1
	postgres_as_root mkdir -p /etc/postgresql-common/createcluster.d || return 1
	printf '%s\n' '# Put here for saggard, which runs its own cluster.' 'create_main_cluster = false' |
		postgres_as_root tee /etc/postgresql-common/createcluster.d/saggar.conf >/dev/null || return 1
	postgres_packages install --no-install-recommends postgresql
}

install_postgres() {
	postgres_is_installed && return 0
	if ! command -v apt-get >/dev/null 2>&1; then
		echo "PostgreSQL 15 or newer is missing and there is no apt-get here: install it with this system's own tools, initdb included." >&2
		return 1
	fi
	if [ "$(id -u)" -ne 0 ] && ! command -v sudo >/dev/null 2>&1; then
		echo "PostgreSQL 15 or newer is missing and installing it needs root: run 'apt-get install postgresql' as root first." >&2
		return 1
	fi
	postgres_log=$(mktemp) || return 1
	if postgres_steps >"$postgres_log" 2>&1 && postgres_is_installed; then
		rm -f "$postgres_log"
		return 0
	fi
	echo "PostgreSQL 15 or newer is missing and 'apt-get install postgresql' failed; what it said is in $postgres_log" >&2
	return 1
}

case $0 in
*install_postgres.sh) install_postgres ;;
esac
