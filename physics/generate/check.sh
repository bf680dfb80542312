#!/bin/sh
# Regenerates the tables of package physics in a fresh virtual environment and
# compares them with what is checked in. Needs Python 3.9 or newer and a package
# index; takes the environment's folder as an optional argument.
set -eu
here=$(cd "$(dirname "$0")" && pwd)
venv=${1:-$(mktemp -d)/venv}
[ -x "$venv/bin/python" ] || python3 -m venv "$venv"
"$venv/bin/pip" install --quiet --require-hashes --only-binary coolprop,numpy -r "$here/requirements.txt"
"$venv/bin/python" "$here/saturation.py" "$here/../data/saturation.csv"
"$venv/bin/python" "$here/psychrometrics.py" | diff - "$here/../testdata/psychrometrics.csv"
echo "testdata/psychrometrics.csv: every row agrees with PsychroLib"
