#!/bin/sh
# sh venv.sh FOLDER LOCK: makes the virtual environment FOLDER holding exactly what LOCK pins, unless it is
# there already, and prints the path of its interpreter. $PYTHON names the interpreter to build it with.
set -eu
folder=$1
lock=$2
# 3.13 comes late because one of the tests' reference libraries, rtamt, stops at 3.12.
candidates=${PYTHON:-python3.12 python3.11 python3.13 python3}

usable() {
    "$1" -c 'import ensurepip, sqlite3, ssl, sys, venv; sys.exit(sys.version_info < (3, 11))' >/dev/null 2>&1
}

find_python() {
    for candidate in $candidates; do
        if usable "$candidate"; then
            echo "$candidate"
            return
        fi
    done
    {
        echo "No usable Python: needed is 3.11 or newer with the modules ensurepip, sqlite3, ssl and venv."
        echo "Tried: $candidates."
        echo "On Debian and its kin: apt-get install python3 python3-venv."
        echo "To name one: PYTHON=/path/to/python3 before the command."
    } >&2
    return 1
}

stamp="$folder $(cksum <"$lock")"
if [ "$(cat "$folder/.stamp" 2>/dev/null)" != "$stamp" ] || ! "$folder/bin/python" -c '' 2>/dev/null; then
    python=$(find_python)
    "$python" -m venv --clear "$folder" >&2
    "$folder/bin/python" -m pip install -qq --disable-pip-version-check \
        --require-hashes --no-deps -r "$lock" >&2
    echo "$stamp" >"$folder/.stamp"
fi
echo "$folder/bin/python"
