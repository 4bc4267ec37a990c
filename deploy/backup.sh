#!/usr/bin/env bash
# Copies schedule, record, profile and the journal of a running watch to a folder, checks the copy, keeps the newest few.
set -euo pipefail
me=backup
# shellcheck source=release.sh
. "$(dirname "$(readlink -f "$0")")/release.sh"

usage() {
  cat <<'END'
sudo bash /opt/panelward/current/deploy/backup.sh [--to DIR] [--keep N]
                                                  [--secrets] [--root DIR]

Makes DIR/panelward-NUMBER-DATE with the journal (SQLite's online backup of a
running watch, its integrity checked) and what is in /etc/panelward, and sums that
`sha256sum -c SHA256SUMS` checks years later. The newest N are kept.

  --to DIR     (default: $PANELWARD_BACKUPS, else /var/backups/panelward); it must
               be there: a stick that is not plugged in is an error
  --keep N     how many (default: 4)
  --secrets    also people.toml, passwords and keys: only to a closed place. The
               key of the links in messages stays: a new one is made
  --root DIR   of an installation that is not at /

To restore: stop panelward, copy journal.sqlite to /var/lib/panelward (no -wal or
-shm beside it), the rest to /etc/panelward, start it.
END
}

root="" to=${PANELWARD_BACKUPS:-} keep=4 secrets=no
while [ $# -gt 0 ]; do
  case $1 in
    --help | -h) usage; exit 0 ;;
    --to) [ $# -gt 1 ] || misused "--to wants a folder"; to=$2; shift ;;
    --keep) [ $# -gt 1 ] || misused "--keep wants a number"; keep=$2; shift ;;
    --secrets) secrets=yes ;;
    --root) [ $# -gt 1 ] || misused "--root wants a folder"; root=$2; shift ;;
    *) misused "'$1' is not known" ;;
  esac
  shift
done
[[ $keep =~ ^[1-9][0-9]{0,3}$ ]] || misused "--keep wants a number from 1 to 9999, not '$keep'"
places "$root"
to=${to:-$root/var/backups/panelward}
current=$(in_use current)
[ -n "$current" ] || fail "nothing is installed in $app"
[ -d "$to" ] || fail "$to: there is no such folder. Is its disk plugged in and mounted?"
[ -w "$to" ] || fail "$to: can't be written by $(id -un)"
umask 027

# By a number and not by the date: a clock without a battery begins in the past, and its copies are the newest all the same.
copies() { find "$to" -maxdepth 1 -type d -regextype posix-extended -regex '.*/panelward-[0-9]{6}-[0-9]{8}T[0-9]{6}Z' | sort; }
last=$(copies | tail -n 1 | sed 's/.*panelward-0*\([0-9]*\)-.*/\1/')
name=$(printf 'panelward-%06d-%s' "$((${last:-0} + 1))" "$(date -u +%Y%m%dT%H%M%SZ)")

half=$to/.$name.part
rm -rf "$to"/.panelward-*.part
trap 'rm -rf "$half"' EXIT
mkdir "$half"
mkdir "$half/etc"
if [ -e "$journal" ]; then
  "$current/bin/python" -P -m panelward log backup --journal "$journal" --out "$half/journal.sqlite" || fail "no copy was made"
fi
for each in "$etc"/*; do
  case $(basename "$each") in
    people.toml | environment | *.password | *.key) [ $secrets = yes ] || continue ;;
    *.new | *.part) continue ;;
  esac
  # What this user may not read (the addresses are root's alone) is said, and does not stop the rest.
  if [ -f "$each" ]; then cp "$each" "$half/etc/" || say "$each: left out"; fi
done
basename "$current" >"$half/version"
(cd "$half" && find . -type f ! -name SHA256SUMS -print0 | LC_ALL=C sort -z | xargs -0 sha256sum >SHA256SUMS)
sync -f "$half"
(cd "$half" && sha256sum --quiet -c SHA256SUMS) || fail "$to: what was written is not what is read back; the copy was not kept"
mv -T "$half" "$to/$name"
sync -f "$to"
trap - EXIT

copies | head -n "-$keep" | while IFS= read -r gone; do rm -rf "$gone"; done
say "$to/$name: $(du -sh "$to/$name" | cut -f 1), checked; $(copies | wc -l) kept"
