#!/usr/bin/env bash
# Installs faketime, by which a package is built at another date. The tree of a Debian 12 that the
# package is installed in is the lab's (tests/lab/setup_systemd.sh). Does nothing, fast, when it is
# there. Where it cannot help it says why and succeeds, and the test that needs it is then skipped;
# with ARRAYGAUGE_PACKAGE_REQUIRED=1 that is an error.
set -euo pipefail

give_up() {
  echo "no package can be built at another date here, that test will be skipped: $1" >&2
  [ "${ARRAYGAUGE_PACKAGE_REQUIRED:-}" != 1 ] || exit 1
  exit 0
}

if ! command -v faketime >/dev/null; then
  grep -qs '^ID=debian$' /etc/os-release || give_up "setting it up needs Debian"
  [ "$(id -u)" = 0 ] || give_up "setting it up needs root: run 'bash tests/package/setup.sh' once"
  echo "installing faketime" >&2
  { apt-get update -qq && DEBIAN_FRONTEND=noninteractive apt-get install -y -qq \
    --no-install-recommends faketime >/dev/null; } || give_up "apt-get could not install faketime"
fi
