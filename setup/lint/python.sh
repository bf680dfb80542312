#!/bin/sh
# Lints training: ruff and mypy, pinned in python.txt, in a virtual environment that is
# made once for each list of them.
set -eu
cd "$(dirname "$0")/../.."
mkdir -p .lint
env=.lint/$(sha256sum setup/lint/python.txt | cut -c1-12)
if [ ! -e "$env/done" ]; then
	rm -rf "$env"
	if ! { python3 -m venv "$env" && "$env/bin/pip" install -q --disable-pip-version-check --require-hashes -r setup/lint/python.txt; } >"$env.log" 2>&1; then
		echo "lint: ruff and mypy could not be installed, training is not looked at: $(tail -n 1 "$env.log")" >&2
		exit 0
	fi
	touch "$env/done"
fi
"$env/bin/ruff" check -q --config training/ruff.toml training
"$env/bin/mypy" --no-error-summary --ignore-missing-imports --python-version 3.12 --cache-dir "$env/mypy" training
