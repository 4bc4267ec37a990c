#!/usr/bin/env bash
# Your own authority, the broker's certificate, and a certificate and a password for each client.
set -euo pipefail
me=keys

usage() {
  cat <<'END'
bash deploy/mosquitto/keys.sh --out DIR --host NAME [--host NAME …] [--client NAME …]

Makes in DIR: ca.crt (give it to every client), ca.key (keep it off the vehicle),
server.crt and server.key, passwd (for the broker), and clients/NAME.crt, .key and
.password for each client. What is there already is kept, so that a client can be
added later; to renew or revoke one, delete its files, run this, restart the broker.

  --out DIR       the folder; on the broker it is /etc/mosquitto/panelward
  --host NAME     a name or address under which clients reach the broker
  --client NAME   default: panelward, monitor, door, phone, afar
  --until DATE    last day of the certificates, YYYYMMDD (default: 20491231)

The certificates are valid from 1970 on: a computer without a battery for its clock
begins there, and would refuse younger ones until it knows the time.
END
}
fail() { printf '%s\n' "$me: $*" >&2; exit 1; }
misused() { printf '%s\n' "$me: $* (--help)" >&2; exit 2; }

out="" hosts=() clients=() until=20491231
while [ $# -gt 0 ]; do
  case $1 in
    --help | -h) usage; exit 0 ;;
    --out | --host | --client | --until)
      [ $# -gt 1 ] || misused "$1 wants a value"
      case $1 in
        --out) out=$2 ;;
        --host) hosts+=("$2") ;;
        --client) clients+=("$2") ;;
        --until) until=$2 ;;
      esac
      shift
      ;;
    *) misused "'$1' is not known" ;;
  esac
  shift
done
[ -n "$out" ] || misused "--out is missing"
[[ $until =~ ^[0-9]{8}$ ]] || misused "--until wants YYYYMMDD, not '$until'"
[ ${#clients[@]} -gt 0 ] || clients=(panelward monitor door phone afar)
for each in "${clients[@]}"; do [[ $each =~ ^[A-Za-z0-9._-]{1,64}$ ]] || misused "'$each' can't be a client's name"; done
command -v openssl >/dev/null 2>&1 || fail "openssl is missing: apt-get install openssl"
passwd=$(command -v mosquitto_passwd || echo /usr/bin/mosquitto_passwd)
[ -x "$passwd" ] || fail "mosquitto_passwd is missing: apt-get install mosquitto"

umask 077
mkdir -p "$out/clients"
chmod 755 "$out"
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
cat >"$work/ca.conf" <<END
[ca]
default_ca = own
[own]
new_certs_dir = $work
database = $work/index
rand_serial = yes
default_md = sha256
policy = any
unique_subject = no
[any]
commonName = supplied
[authority]
basicConstraints = critical, CA:TRUE
keyUsage = critical, keyCertSign, cRLSign
subjectKeyIdentifier = hash
[client]
basicConstraints = CA:FALSE
extendedKeyUsage = clientAuth
[server]
basicConstraints = CA:FALSE
extendedKeyUsage = serverAuth
subjectAltName = \${ENV::SAN}
END

quiet() { "$@" >"$work/said" 2>&1 || { cat "$work/said" >&2; fail "$1 failed"; }; }

certificate() { # file without ending, common name, kind, more arguments for `openssl ca`
  local file=$1 name=$2 kind=$3
  shift 3
  if [ -e "$file.crt" ] && [ -e "$file.key" ]; then return 0; fi
  : >"$work/index"
  quiet openssl genpkey -algorithm EC -pkeyopt ec_paramgen_curve:P-256 -out "$file.key.new"
  quiet openssl req -new -key "$file.key.new" -subj "/CN=$name" -out "$work/csr"
  if [ "$kind" = authority ]; then set -- -selfsign -keyfile "$file.key.new"; fi
  quiet openssl ca -batch -notext -config "$work/ca.conf" -extensions "$kind" -in "$work/csr" -out "$file.crt.new" \
    -startdate 19700101000000Z -enddate "${until}235959Z" "$@"
  mv "$file.key.new" "$file.key"
  mv "$file.crt.new" "$file.crt"
  chmod 644 "$file.crt"
  echo "$me: made $file.crt"
}

export SAN=none
# Never a second authority beside the first: what it had signed would be worth nothing.
if [ -e "$out/ca.crt" ] && [ ! -e "$out/ca.key" ]; then fail "$out/ca.key is not here: bring it back to make more"; fi
certificate "$out/ca" "panelward authority" authority
sign=(-cert "$out/ca.crt" -keyfile "$out/ca.key")
if [ ! -e "$out/server.crt" ]; then
  [ ${#hosts[@]} -gt 0 ] || misused "--host is missing: under which name or address do clients reach the broker?"
  SAN=""
  for each in "${hosts[@]}"; do
    if [[ $each =~ ^[0-9.]+$ || $each == *:* ]]; then SAN+=",IP:$each"; else SAN+=",DNS:$each"; fi
  done
  SAN=${SAN#,}
  certificate "$out/server" "${hosts[0]}" server "${sign[@]}"
fi
for each in "${clients[@]}"; do
  certificate "$out/clients/$each" "$each" client "${sign[@]}"
  if [ ! -e "$out/clients/$each.password" ]; then
    openssl rand -base64 24 >"$out/clients/$each.password.new"
    mv "$out/clients/$each.password.new" "$out/clients/$each.password"
  fi
done
# From all that are there; by way of a file, for a command line is seen by everybody.
: >"$work/passwd"
for each in "$out"/clients/*.password; do
  name=$(basename "$each" .password)
  printf '%s:%s\n' "$name" "$(cat "$each")" >>"$work/passwd"
done
quiet "$passwd" -U "$work/passwd"
cp "$work/passwd" "$out/passwd.new"
mv "$out/passwd.new" "$out/passwd"
here=$(cd "$(dirname "$0")" && pwd)
if [ ! -e "$out/acl" ]; then cp "$here/acl" "$out/acl"; fi
chmod 600 "$out/acl"
# The broker runs as its own user and reads these.
if [ "$(id -u)" = 0 ] && id mosquitto >/dev/null 2>&1; then
  chown mosquitto: "$out/server.key" "$out/passwd" "$out/acl"
fi
echo "$me: $out is complete"
