#!/bin/sh
# Fetches the packages that a requirement file pins, checksums included.
# usage: wheels.sh REQUIREMENTS DIR STAMP
set -eu
list=$1 dir=$2 stamp=$3
fail() { echo "setup: $*" >&2; exit 1; }
[ -e "$stamp" ] && exit 0
python=${PYTHON:-python3}
"$python" -m pip --version >/dev/null 2>&1 || fail "Python's pip is missing; run: sh setup/debian.sh, then run make again"
rm -rf "$dir" # another version's files, or half of one
mkdir -p "$dir" "$(dirname "$stamp")"
echo "setup: fetching $(grep -v '^#' "$list" | sed 's/ .*//' | paste -sd' ')" >&2
log=$stamp.log
# pip checks every file against its hash and writes none that fails.
"$python" -m pip download --quiet --disable-pip-version-check --no-input --no-deps \
	--require-hashes --dest "$dir" -r "$list" >"$log" 2>&1 ||
	fail "pip could not fetch what $list names: $(grep -m 1 -i error "$log" || tail -n 1 "$log"); see to the network, then run make again ($log)"
touch "$stamp"
