#!/bin/sh
# The tool must start and plan without any development package: a fresh environment holding
# requirements.lock alone.
set -eu
python=${1:-python3}
here=$(cd "$(dirname "$0")/.." && pwd)
place=$(mktemp -d)
trap 'rm -rf "$place"' EXIT
"$python" -m venv "$place/venv"
"$place/venv/bin/python" -m pip install --quiet --disable-pip-version-check --no-deps -r "$here/requirements.lock"
"$place/venv/bin/python" -m pip install --quiet --disable-pip-version-check --no-deps "$here"
cd "$place"
"$place/venv/bin/rushlight" --version
"$place/venv/bin/rushlight" new "$place/rig" --kind surface
"$place/venv/bin/rushlight" check "$place/rig/rig.toml"
"$place/venv/bin/rushlight" plan "$place/rig/rig.toml" >/dev/null
echo "starts without development packages"
