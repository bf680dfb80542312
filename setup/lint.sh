#!/bin/sh
# Runs the linters, each chosen for what it finds; fails where one finds anything. They
# are pinned as tools in go.mod, and training's in setup/lint/python.txt.
set -u
cd "$(dirname "$0")/.."
export CGO_ENABLED=0
status=0
# run NAME COMMAND…: quiet unless something is found
run() {
	name=$1
	shift
	found=$("$@" 2>&1)
	code=$?
	if [ $code -ne 0 ] || [ -n "$found" ]; then
		echo "lint: $name:" >&2
		echo "$found" >&2
		status=1
	fi
}

go_files=$(git ls-files '*.go')

# What the compiler lets pass and is wrong: formats, copied locks, lost cancels.
run vet go vet ./...
run gofmt gofmt -l $go_files
# Bugs, simplifications, style and what is unused; which checks: staticcheck.conf.
run staticcheck go tool staticcheck ./...
# Functions that neither a program nor a test reaches.
run deadcode go tool deadcode -test ./...
# Errors that nobody looks at, but for the closing of what was read and for prints.
run errcheck go tool errcheck -ignoretests -exclude setup/lint/errcheck.txt ./...
# Comparisons of errors that wrapping breaks.
run errorlint go tool go-errorlint ./...
run misspell go tool misspell -error -i fourty,ninty $go_files $(git ls-files '*.md')

# Functions of more than 20 ways through them. Those in complex.txt were there first:
# the list may only shrink.
complex() {
	go tool gocyclo -over 20 $(echo "$go_files" | grep -v '_test\.go$') | awk '{print $2, $3, $4}' | sed -E 's/ [^ ]*:[0-9]+:[0-9]+$//; s/ $//' | LC_ALL=C sort -u >"$1"
}
list=$(mktemp)
complex "$list"
if [ "${1:-}" = complex ]; then
	cp "$list" setup/lint/complex.txt
fi
new=$(LC_ALL=C comm -13 setup/lint/complex.txt "$list")
gone=$(LC_ALL=C comm -23 setup/lint/complex.txt "$list")
rm -f "$list"
if [ -n "$new" ]; then
	printf 'lint: gocyclo: over 20, make them simpler:\n%s\n' "$new" >&2
	status=1
fi
if [ -n "$gone" ]; then
	printf 'lint: gocyclo: no longer over 20, strike them from setup/lint/complex.txt:\n%s\n' "$gone" >&2
	status=1
fi

# The training's Python, where it is there: ruff and mypy.
if command -v python3 >/dev/null 2>&1; then
	sh setup/lint/python.sh || status=1
else
	echo "lint: no Python here: training is not looked at" >&2
fi
exit $status
