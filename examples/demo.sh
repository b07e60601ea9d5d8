#!/bin/sh
# sh examples/demo.sh: installs shelfbell into its own virtual environment (.venv-demo), plays the demo.
set -eu
here=$(cd "$(dirname "$0")" && pwd)
top=$(dirname "$here")
venv=$top/.venv-demo
python=$(sh "$top/tests/venv.sh" "$venv" "$here/requirements.lock")
"$python" -m pip install -qq --disable-pip-version-check --no-deps --force-reinstall "$top" >&2
exec "$python" "$here/demo.py" "$@"
