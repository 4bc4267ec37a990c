#!/usr/bin/env bash
# Brings an installed panelward to the version of this clone, or leaves everything as it was.
set -euo pipefail
me=update
source=$(cd "$(dirname "$0")/.." && pwd)
# shellcheck source=release.sh
. "$source/deploy/release.sh"

usage() {
  cat <<'END'
sudo bash deploy/update.sh [--root DIR] [--python P] [--wheels DIR]
                           [-- PIP ARGUMENTS]
sudo bash deploy/update.sh --back [--root DIR]

Installs the version of this clone beside the one in use. While that goes on
watching, the new one must read your schedule and start on a copy of your
journal. Then it takes over; where it does not get ready, the old one is put back
and started again. The journal and /etc/panelward stay as they are.

  --back          go back to the version before
  --root, --python, --wheels, --   as for install.sh
Exit: 0 the new version is in use, 1 the old one still is (or is again).
END
}

root="" python=python3 wheels="" back=no pip_arguments=()
while [ $# -gt 0 ]; do
  case $1 in
    --help | -h) usage; exit 0 ;;
    --back) back=yes ;;
    --root) [ $# -gt 1 ] || misused "--root wants a folder"; root=$2; shift ;;
    --python) [ $# -gt 1 ] || misused "--python wants a program"; python=$2; shift ;;
    --wheels) [ $# -gt 1 ] || misused "--wheels wants a folder"; wheels=$2; shift ;;
    --) shift; pip_arguments=("$@"); break ;;
    *) misused "'$1' is not known" ;;
  esac
  shift
done
places "$root"
need_root
old=$(in_use current)
[ -n "$old" ] || fail "nothing is installed in $app: run install.sh"

before=$var/before-update.sqlite
trial=$var/trial.sqlite

running() { [ -n "$systemctl" ] && "$systemctl" is-active --quiet panelward.service; }

copy_journal() { # by the old version: the new one may want to change the file first
  rm -f "$before"
  if [ -e "$journal" ]; then panelward_of "$old" log backup --journal "$journal" --out "$before"; fi
}

forget_trial() { rm -f "$trial" "$trial"-* "$trial".*; }

give_up() { # why: before anything was changed
  forget_trial
  if [ "$release" != "$(in_use previous)" ]; then rm -rf "$release"; fi
  fail "$1 The version in use stays: $(basename "$old")"
}

put_back() { # the old version, and the journal as it can read it
  point current "$old"
  cp "$units_before"/panelward* "$units/" || true
  "$systemctl" daemon-reload || true
  if [ -e "$before" ]; then
    "$systemctl" stop panelward.service || true
    forget_trial
    if ! panelward_of "$old" log backup --journal "$journal" --out "$trial" >/dev/null 2>&1; then
      say "the old version can't read the journal any more: the copy from before the update takes its place"
      for suffix in "" -wal -shm; do
        if [ -e "$journal$suffix" ]; then mv "$journal$suffix" "$journal.after-update$suffix"; fi
      done
      cp "$before" "$journal"
      if [ -z "$root" ]; then chown panelward:panelward "$journal"; fi
    fi
    forget_trial
  fi
  "$systemctl" restart panelward.service || say "and the old version does not start either: systemctl status panelward"
  door_anew
}

door_anew() { # the page goes with the watch; that it does not start takes nothing from the watch
  if [ ! -e "$units/panelward-door.service" ]; then return 0; fi
  "$systemctl" try-restart panelward-door.service || say "the door's page does not start: systemctl status panelward-door"
}

take_over() { # release: the one to be used from now on; true: it got ready
  point previous "$old"
  point current "$1"
  sync -f "$app"
  running || return 0
  "$systemctl" restart panelward.service || return 1 # Type=notify: returns when it is ready, or has failed
  door_anew
}

units_before=$app/units-before
rm -rf "$units_before"
mkdir -p "$units_before"
cp "$units"/panelward*.service "$units"/panelward*.timer "$units_before/" 2>/dev/null || true

if [ $back = yes ]; then
  release=$(in_use previous)
  [ -n "$release" ] || fail "there is no version before $(basename "$old")"
else
  make_release
  release=$(readlink -f "$release")
fi
if [ "$release" = "$old" ]; then
  say "$(basename "$old") is in use already"
  exit 0
fi

code=0
said=$(panelward_of "$release" check --schedule "$etc/schedule.toml" 2>&1 >/dev/null) || code=$?
[ $code -le 1 ] || give_up "the schedule can't be used with $(basename "$release"): $said"
copy_journal || give_up "the journal could not be copied."
forget_trial
if [ -e "$before" ]; then
  cp "$before" "$trial"
  if [ -z "$root" ]; then chown panelward:panelward "$trial"; fi
fi
people=()
if [ -e "$etc/people.toml" ]; then people=(--people "$etc/people.toml"); fi
if ! said=$(panelward_of "$release" watch --trial "${people[@]}" --schedule "$etc/schedule.toml" --journal "$trial" 2>&1); then
  printf '%s\n' "$said" >&2
  give_up "$(basename "$release") did not start on a copy of the journal."
fi
forget_trial

was_running=no
if running; then was_running=yes; fi
if [ $back = no ]; then put_units; fi
if ! take_over "$release"; then
  say "$(basename "$release") did not get ready: going back"
  put_back
  fail "The version in use again: $(basename "$old")"
fi
# The two in use are kept, what is older goes.
for each in "$app"/releases/*; do
  case $(readlink -f "$each") in "$release" | "$old") ;; *) rm -rf "$each" ;; esac
done
say "$(basename "$release") is in use$([ $was_running = yes ] || echo '; the watch was not running and was not started')"
