#!/usr/bin/env bash
# The main job on a fresh machine, in an invented survey van: ordinary life, then the three alarms, sped up.
#   bash deploy/demo.sh           then a live view until Ctrl-C
#   bash deploy/demo.sh --once    ends by itself; exit 0 if all three alarms arrived
# Everything is made in one temporary folder, which is removed at the end.
set -euo pipefail
here=$(cd "$(dirname "$0")/.." && pwd)

python=${PYTHON:-python3}
command -v "$python" >/dev/null 2>&1 || { echo "demo: Python 3.11 or newer is needed (Debian: apt-get install python3 python3-venv)" >&2; exit 3; }
"$python" -c 'import sys; sys.exit(sys.version_info < (3, 11))' || { echo "demo: Python 3.11 or newer is needed; this is $("$python" -V)" >&2; exit 3; }

work=$(mktemp -d "${TMPDIR:-/tmp}/panelward-demo.XXXXXX")
trap 'rm -rf "$work"' EXIT
mkdir "$work/tmp"
export TMPDIR="$work/tmp" # what the installers leave half-way goes with the rest
trap 'exit 130' INT
trap 'exit 143' TERM

if ! "$python" -c 'import ensurepip' >/dev/null 2>&1; then
  if [ "$(id -u)" = 0 ] && command -v apt-get >/dev/null 2>&1; then
    echo "demo: installing python3-venv"
    { apt-get update -qq && DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends python3-venv; } >/dev/null
  else
    echo "demo: Python's venv module is missing (Debian: sudo apt-get install python3-venv)" >&2
    exit 3
  fi
fi

extra=""
if ! command -v mosquitto >/dev/null 2>&1 && [ ! -x /usr/sbin/mosquitto ]; then extra="[demo]"; fi
echo "demo: installing panelward into a temporary folder (half a minute or so) …"
if ! "$python" -m venv "$work/venv" >"$work/install.log" 2>&1; then cat "$work/install.log" >&2; exit 3; fi
mkdir "$work/source"
cp -r "$here/agent" "$here/pyproject.toml" "$here/README.md" "$here/LICENSE" "$work/source/"
if ! "$work/venv/bin/python" -m pip install --quiet --disable-pip-version-check "$work/source$extra" >"$work/install.log" 2>&1; then
  cat "$work/install.log" >&2
  echo "demo: the installation failed; it needs the Python package index (or a copy of it)" >&2
  exit 3
fi
echo "demo: installed"

# The demo stops what it started on SIGTERM and on Ctrl-C; we wait for it, so that the folder goes last.
trap '' INT
"$work/venv/bin/python" "$here/deploy/demo.py" --work "$work" --schedule "$here/config/survey-van.toml" "$@" &
demo=$!
trap 'kill -INT "$demo" 2>/dev/null || true' INT
trap 'kill -TERM "$demo" 2>/dev/null || true' TERM
code=0
wait "$demo" || code=$?
while kill -0 "$demo" 2>/dev/null; do wait "$demo" || code=$?; done
exit "$code"
