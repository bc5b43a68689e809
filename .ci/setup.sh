#!/usr/bin/env bash
# Makes the virtual environment named by the first argument.
# On Debian, as root, it first installs Python and its venv module where they are missing.
set -euo pipefail
venv=$1

find_python() {
  for candidate in python3 python3.13 python3.12 python3.11 /usr/bin/python3; do
    if command -v "$candidate" >/dev/null &&
      "$candidate" -c 'import ensurepip, sys, venv; sys.exit(sys.version_info < (3, 11))' 2>/dev/null; then
      command -v "$candidate"
      return
    fi
  done
  return 1
}

if ! python=$(find_python); then
  if [ "$(id -u)" = 0 ] && command -v apt-get >/dev/null; then
    echo "installing python3 and python3-venv" >&2
    apt-get update -qq
    DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends python3 python3-venv ca-certificates >/dev/null
    python=$(find_python)
  else
    echo "arraygauge needs Python 3.11 or newer with its venv module: install python3 and python3-venv" >&2
    exit 1
  fi
fi
"$python" -m venv "$venv"
