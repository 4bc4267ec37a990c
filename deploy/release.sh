# Sourced by install.sh, update.sh and backup.sh: where everything lies, and how a version gets there.
#
#   /opt/panelward/releases/VERSION-FINGERPRINT/   a virtual environment each; `complete` is written into it last
#   /opt/panelward/current                         the one in use; `previous`: the one before
#   /etc/panelward                                 schedule, record, profile, people, secrets: never overwritten
#   /var/lib/panelward                             the journal: kept over every update
# shellcheck shell=bash

say() { printf '%s\n' "$me: $*"; }
fail() { printf '%s\n' "$me: $*" >&2; exit 1; }
misused() { printf '%s\n' "$me: $* (--help)" >&2; exit 2; }

places() { # root
  root=$1
  if [ -n "$root" ]; then root=$(readlink -m "$root"); fi
  root=${root%/}
  app=$root/opt/panelward
  etc=$root/etc/panelward
  var=$root/var/lib/panelward
  units=$root/etc/systemd/system
  journal=$var/journal.sqlite
  # systemd is spoken to on the running machine only; a staging root may name a program in its place.
  systemctl=${PANELWARD_SYSTEMCTL:-}
  if [ -z "$systemctl" ] && [ -z "$root" ] && command -v systemctl >/dev/null 2>&1; then systemctl=systemctl; fi
}

need_root() { # of a real installation; a staging root belongs to whoever makes it
  [ -n "$root" ] || [ "$(id -u)" = 0 ] || fail "must be root: sudo $0"
}

panelward_of() { # release, arguments …: run that release's program, as the user that watches
  local python=$1/bin/python
  shift
  if [ -z "$root" ] && [ "$(id -u)" = 0 ] && id panelward >/dev/null 2>&1; then
    setpriv --reuid panelward --regid panelward --init-groups "$python" -P -m panelward "$@"
  else
    "$python" -P -m panelward "$@"
  fi
}

fingerprint() { # of what is about to be installed
  if [ -n "$wheels" ]; then
    local found
    found=$(find "$wheels" -maxdepth 1 -name 'panelward-*.whl' | sort | tail -n 1)
    [ -n "$found" ] || fail "$wheels: no panelward-….whl in it. Make one: pip wheel -w $wheels ."
    sha256sum <"$found" | cut -c 1-12
  else
    (cd "$source" && find agent pyproject.toml deploy -type f ! -name '*.pyc' ! -path '*.egg-info/*' -print0 |
      LC_ALL=C sort -z | xargs -0 sha256sum | sha256sum | cut -c 1-12)
  fi
}

make_release() { # sets $release; uses $python $source $wheels and $pip_arguments
  "$python" -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null ||
    fail "Python 3.11 or newer is needed ($python is not): apt-get install python3, or name one with --python"
  "$python" -c 'import ensurepip' 2>/dev/null || fail "Python's venv module is missing: apt-get install python3-venv"
  local version print
  version=$(sed -n 's/^version = "\(.*\)"$/\1/p' "$source/pyproject.toml" | head -n 1)
  print=$(fingerprint)
  release=$app/releases/$version-$print
  if [ -e "$release/complete" ]; then return 0; fi
  say "installing $version ($print) …"
  rm -rf "$release"
  mkdir -p "$release"
  # In a folder of its own: building leaves things beside the sources.
  work=$(mktemp -d)
  trap 'rm -rf "$work"' EXIT
  local what=(--no-index --find-links "$wheels" panelward)
  if [ -z "$wheels" ]; then
    mkdir "$work/source"
    cp -r "$source/agent" "$source/pyproject.toml" "$source/README.md" "$source/LICENSE" "$work/source/"
    what=("$work/source")
  fi
  if ! { "$python" -m venv "$release" &&
    "$release/bin/python" -m pip install --quiet --disable-pip-version-check "${pip_arguments[@]}" "${what[@]}"; } >"$work/log" 2>&1; then
    cat "$work/log" >&2
    rm -rf "$release"
    fail "the installation failed; nothing was changed. Without network: --wheels DIR (--help)"
  fi
  mkdir -p "$release/deploy"
  cp "$source"/deploy/*.sh "$release/deploy/"
  chmod 755 "$release"/deploy/*.sh
  date -u +%Y-%m-%dT%H:%M:%SZ >"$release/complete"
  sync -f "$release/complete"
  rm -rf "$work"
  trap - EXIT
}

point() { # link name, release: at once or not at all
  ln -sfn "releases/$(basename "$2")" "$app/$1.new"
  mv -T "$app/$1.new" "$app/$1"
}

in_use() { # the release behind a link; empty: none
  if [ -e "$app/$1/complete" ]; then readlink -f "$app/$1"; fi
}

put_units() { # the unit files, and what this systemd knows beyond them
  mkdir -p "$units"
  cp "$source"/deploy/systemd/*.service "$source"/deploy/systemd/*.timer "$units/"
  local version=0
  if command -v systemd-analyze >/dev/null 2>&1; then
    version=$(systemd-analyze --version | sed -n '1s/[^0-9]*\([0-9]*\).*/\1/p')
  fi
  rm -f "$units/panelward.service.d/growing-gap.conf"
  if [ "${version:-0}" -ge 254 ]; then
    mkdir -p "$units/panelward.service.d"
    cp "$source/deploy/systemd/growing-gap.conf" "$units/panelward.service.d/"
  fi
  if [ -n "$systemctl" ]; then "$systemctl" daemon-reload; fi
}
