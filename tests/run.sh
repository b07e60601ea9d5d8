#!/bin/sh
# sh tests/run.sh [PYTEST OPTION…]: the tests, in a virtual environment of their own (.venv-test).
set -eu
top=$(cd "$(dirname "$0")/.." && pwd)
venv=$top/.venv-test
python=$(sh "$top/tests/venv.sh" "$venv" "$top/tests/requirements.lock")

# Editable, for tests that start `shelfbell` or read its version as an operator would.
if ! cmp -s "$top/pyproject.toml" "$venv/pyproject.toml"; then
    "$python" -m pip install -qq --disable-pip-version-check \
        --no-deps --no-build-isolation --editable "$top" >&2
    cp "$top/pyproject.toml" "$venv/pyproject.toml"
fi
cd "$top"
exec "$python" -m pytest -n auto --dist worksteal "$@"
