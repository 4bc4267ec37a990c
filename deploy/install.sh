#!/usr/bin/env bash
# Installs panelward on a Debian single-board computer: program, configuration, units. Does no harm when run again.
set -euo pipefail
me=install
source=$(cd "$(dirname "$0")/.." && pwd)
# shellcheck source=release.sh
. "$source/deploy/release.sh"

usage() {
  cat <<'END'
sudo bash deploy/install.sh [--root DIR] [--python P] [--wheels DIR] [--no-start]
                            [-- PIP ARGUMENTS]

Installs this clone: the program into /opt/panelward, an example schedule into
/etc/panelward, units for systemd, a user `panelward`. Files in /etc/panelward
and the journal in /var/lib/panelward are never overwritten. Run again it changes
nothing; a newer clone goes the way of update.sh.

  --root DIR      into DIR as if it were /: for an image. No user, no systemd
  --python P      the Python 3.11 or newer to use (default: python3)
  --wheels DIR    without network: from wheels made before with
                  `pip wheel -w DIR .` on a computer of the same kind
  --no-start      start and enable nothing
  -- …            goes to `pip install`

It watches; it does not protect: the fuse or breaker does.
END
}

root="" python=python3 wheels="" start=yes pip_arguments=() given=("$@")
while [ $# -gt 0 ]; do
  case $1 in
    --help | -h) usage; exit 0 ;;
    --root) [ $# -gt 1 ] || misused "--root wants a folder"; root=$2; shift ;;
    --python) [ $# -gt 1 ] || misused "--python wants a program"; python=$2; shift ;;
    --wheels) [ $# -gt 1 ] || misused "--wheels wants a folder"; wheels=$2; shift ;;
    --no-start) start=no ;;
    --) shift; pip_arguments=("$@"); break ;;
    *) misused "'$1' is not known" ;;
  esac
  shift
done
[ -z "$root" ] || mkdir -p "$root"
places "$root"
need_root

owner() { # user:group, mode, files …
  local who=$1 mode=$2
  shift 2
  chmod "$mode" "$@"
  if [ -z "$root" ]; then chown "$who" "$@"; fi
}

if [ -z "$root" ] && ! id panelward >/dev/null 2>&1; then
  useradd --system --user-group --home-dir /var/lib/panelward --no-create-home --shell /usr/sbin/nologin panelward
  say "made the user panelward"
fi

mkdir -p "$app/releases"
make_release
old=$(in_use current)
if [ -n "$old" ] && [ "$old" != "$(readlink -f "$release")" ]; then
  say "another version is installed: updating"
  arguments=()
  for each in "${given[@]}"; do [ "$each" = --no-start ] || arguments+=("$each"); done
  exec bash "$source/deploy/update.sh" "${arguments[@]}"
fi

mkdir -p "$etc" "$var" "$root/var/backups/panelward" "$root/usr/local/bin"
# Whoever learns writes beside the schedule; the watch itself may not (ProtectSystem= in its unit).
owner root:panelward 770 "$etc"
owner panelward:panelward 750 "$var" "$root/var/backups/panelward"

example=$source/config/minimal.toml
if [ ! -e "$etc/schedule.toml" ]; then
  cp "$example" "$etc/schedule.toml"
  owner root:panelward 640 "$etc/schedule.toml"
fi
if [ ! -e "$etc/environment" ]; then
  cat >"$etc/environment" <<'END'
# Who is told: one or more apprise addresses, separated by spaces. They are secrets; keep this file closed.
#PANELWARD_NOTIFY="mailto://…"
END
fi
owner root:root 600 "$etc/environment"
# Secrets that are there: the watch reads them, nobody else does.
for secret in "$etc/people.toml" "$etc"/*.password "$etc"/*.key; do
  if [ -e "$secret" ]; then owner panelward:panelward 600 "$secret"; fi
done

point current "$release"
cat >"$root/usr/local/bin/panelward" <<'END'
#!/bin/sh
exec /opt/panelward/current/bin/python -P -m panelward "$@"
END
chmod 755 "$root/usr/local/bin/panelward"
put_units

if cmp -s "$example" "$etc/schedule.toml"; then
  say "installed. Next:"
  say "  write your own circuits into /etc/panelward/schedule.toml"
  say "  write an address into /etc/panelward/environment"
  say "  sudo panelward check                       what is wrong, what can't be judged"
  say "  sudo bash deploy/install.sh                once more: starts the watch"
  exit 0
fi
code=0
panelward_of "$release" check --schedule "$etc/schedule.toml" >/dev/null || code=$?
[ $code -le 1 ] || fail "installed, not started: the schedule can't be used. See: sudo panelward check"
if [ -n "$systemctl" ] && [ $start = yes ]; then
  "$systemctl" enable --now panelward.service panelward-learn.timer panelward-backup.timer panelward-door.service
  say "the door's page: http://127.0.0.1:8460; for phones see panelward-door.service"
  say "installed, and the watch runs. Prove that an alarm reaches the phone: sudo panelward drill"
else
  say "installed; nothing was started"
fi
