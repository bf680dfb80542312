#!/bin/sh
# Installs the Debian packages that callout needs, when it may; else prints the one line
# to run. Does nothing, at once, when all are there. With the argument "test" also those
# that only the tests need: a sound server of their own, and a terminal to draw in.
set -u
packages="cmake g++ make patch pkg-config python3-pip espeak-ng flite sox pocketsphinx pocketsphinx-en-us pocketsphinx-testdata"
[ "${1:-}" = test ] && packages="$packages pulseaudio pulseaudio-utils tmux chromium postgresql flac"

# A package counts as there when its command or a file of it is: a compiler need not
# come from Debian.
have() {
	case $1 in
	g++ | make | patch | cmake | pkg-config | espeak-ng | flite | sox | pulseaudio | tmux | chromium | flac) command -v "$1" >/dev/null 2>&1 ;;
	postgresql) ls /usr/lib/postgresql/*/bin/postgres >/dev/null 2>&1 ;;
	pulseaudio-utils) command -v pactl >/dev/null 2>&1 ;;
	python3-pip) command -v pip3 >/dev/null || python3 -m pip --version >/dev/null 2>&1 ;;
	pocketsphinx) command -v pocketsphinx_batch >/dev/null 2>&1 ;;
	pocketsphinx-en-us) [ -d /usr/share/pocketsphinx/model/en-us ] ;;
	pocketsphinx-testdata) [ -d /usr/share/pocketsphinx/test/data ] ;;
	esac
}

missing=
for p in $packages; do have "$p" || missing="$missing $p"; done
[ -z "$missing" ] && exit 0

line="apt-get update && apt-get install -y --no-install-recommends$missing"
if ! command -v apt-get >/dev/null 2>&1; then
	echo "setup: these are missing:$missing; install them with this system's package manager, then run make again" >&2
	exit 1
fi
if [ "$(id -u)" = 0 ]; then
	as=
elif command -v sudo >/dev/null 2>&1 && sudo -n true 2>/dev/null; then
	as="sudo -n"
else
	echo "setup: Debian packages are missing; run this line, then run make again:" >&2
	echo "  sudo sh -c '$line'" >&2
	exit 1
fi
echo "setup: installing$missing" >&2
log=$(mktemp)
if $as sh -c "export DEBIAN_FRONTEND=noninteractive; $line" >"$log" 2>&1; then
	rm -f "$log"
	exit 0
fi
echo "setup: apt-get could not install them: $(grep -m 1 '^E:' "$log" || tail -n 1 "$log"); the whole output is in $log; run this line by hand: $line" >&2
exit 1
