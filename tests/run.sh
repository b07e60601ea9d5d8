#!/bin/sh
# sh tests/run.sh [--quick] [PYTEST OPTION…]: the tests, in a virtual environment of their own (.venv-test).
# --quick leaves out those that start processes or servers, draw at random, or run commands on a whole home.
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

# Without kept bytecode each of the hundreds of processes would compile the program again.
unset PYTHONDONTWRITEBYTECODE

# Temporary homes in memory, where there is a gigabyte of it and scripts may run from it: on a disk SQLite waits for
# each commit. Set TMPDIR to keep the homes of failing tests.
if [ -z "${TMPDIR:-}" ] && [ "$(df -Pk /dev/shm 2>/dev/null | awk 'NR == 2 {print $4}')0" -gt 10000000 ]; then
    TMPDIR=$(mktemp -d /dev/shm/sb.XXXX) # short, as a socket path may hold some hundred letters
    chmod 711 "$TMPDIR" # some tests play another user
    trap 'rm -rf "$TMPDIR"' EXIT
    trap 'exit 130' INT TERM
    printf '#!/bin/sh\n' >"$TMPDIR/try"
    chmod +x "$TMPDIR/try"
    if "$TMPDIR/try" 2>/dev/null; then
        export TMPDIR
        set -- --basetemp="$TMPDIR/t" "$@"
    fi
fi
cd "$top"
"$python" -m pytest -n auto --dist worksteal "$@"
