#!/usr/bin/env bash
# Sets up and passes the tests: a virtual environment beside the sources, Mosquitto from Debian if it is missing.
#   bash tests/run.sh            all tests (checks against frozen reference values)
#   bash tests/run.sh --full     also computes the reference values and the proof's outcomes anew
#   bash tests/run.sh tests/watch -k surge      what follows goes to pytest
set -euo pipefail
cd "$(dirname "$0")/.."

full=no
if [ "${1:-}" = "--full" ]; then full=yes; shift; fi

need_apt() { # package, command: installs from Debian where the command is missing and we may
  command -v "$2" >/dev/null 2>&1 && return 0
  [ -x "/usr/sbin/$2" ] && return 0
  if command -v apt-get >/dev/null 2>&1 && [ "$(id -u)" = 0 ]; then
    echo "installing $1"
    { apt-get update -qq && DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends "$1"; } >/dev/null
  else
    echo "tests need $1: install it (on Debian: sudo apt-get install $1), then run this again" >&2
    exit 3
  fi
}
need_apt mosquitto mosquitto
need_apt openssl openssl
# These rate the units and watch their system calls; a test without them says so and is skipped.
(need_apt systemd systemd-analyze) || echo "going on without systemd-analyze" >&2
(need_apt strace strace) || echo "going on without strace" >&2
# The door's pages in a real browser; axe-core and html-validate on each of them.
(need_apt chromium chromium) || echo "going on without Chromium" >&2
(need_apt nodejs node && need_apt npm npm) || echo "going on without Node and npm" >&2
if command -v npm >/dev/null 2>&1 && ! [ tests/door/node_modules/.package-lock.json -nt tests/door/package-lock.json ]; then
  npm ci --prefix tests/door --ignore-scripts --no-audit --no-fund --loglevel=error || echo "going on without axe-core and html-validate" >&2
fi

python=${PYTHON:-python3}
"$python" -c 'import sys; sys.exit(sys.version_info < (3, 11))' || { echo "panelward needs Python 3.11 or newer" >&2; exit 3; }
if ! "$python" -c 'import ensurepip' >/dev/null 2>&1; then need_apt python3-venv pyvenv-is-missing; fi
[ -x .venv/bin/python ] || "$python" -m venv .venv
extras=dev,demo,review
[ $full = yes ] && extras=dev,demo,review,reference
.venv/bin/python -m pip install --quiet --disable-pip-version-check -e ".[$extras]"

export PATH="$PWD/.venv/bin:/usr/sbin:$PATH"
.venv/bin/ruff check agent tests
.venv/bin/ruff format --check --quiet agent tests
.venv/bin/mypy
if [ $full = yes ]; then
  for script in tests/reference/make_*.py tests/proving/part.py; do .venv/bin/python "$script"; done
fi
# All of them: two files at a time, the long ones among the first.
if [ $# = 0 ]; then set -- -n 2 --dist loadfile --no-loadscope-reorder; fi
exec .venv/bin/python -m pytest "$@"
