#!/usr/bin/env bash
# Makes the tree of a small Debian 12 with systemd under .lab/systemd, which the lab's guest with
# systemd as PID 1 boots. Nothing of it is installed here but debootstrap. Does nothing, fast, when
# the tree for this very list of packages is there. Where it cannot help it says why and succeeds,
# and the tests that need it are then skipped; with ARRAYGAUGE_LAB_REQUIRED=1 that is an error.
set -euo pipefail
lab=$(cd "$(dirname "${BASH_SOURCE[0]}")/../.." && pwd)/.lab/systemd
PATH=$PATH:/usr/sbin:/sbin
release=bookworm

# systemd's own tools and udev, which gives devices to the group disk; the agent's Python; procps
# for the /bin/kill of the unit's ExecReload, which Debian's smallest system lacks.
packages=systemd,udev,python3,procps

give_up() {
  echo "no guest with systemd here, its tests will be skipped: $1" >&2
  [ "${ARRAYGAUGE_LAB_REQUIRED:-}" != 1 ] || exit 1
  exit 0
}

# Where apt itself gets this release from: it is reachable, and may be nearer.
mirror() {
  local known
  known=$(apt-get indextargets --format '$(REPO_URI) $(CODENAME) $(COMPONENT) $(ORIGIN)' \
    'Identifier: Packages' 2>/dev/null |
    sed -n "s|^\(http[^ ]*\) $release main Debian\$|\1|p;T;q") || true
  echo "${known:-http://deb.debian.org/debian}"
}

have_tools() {
  command -v debootstrap >/dev/null && command -v mke2fs >/dev/null
}

# What no test reads, and what would only take the emulated machine's time at each boot.
slim_down() {
  rm -rf "$1"/usr/share/{doc,man,locale,info,lintian} "$1"/var/cache/apt "$1"/var/lib/apt/lists
  local unit
  for unit in getty.target serial-getty@ttyS0.service getty@tty1.service apt-daily.timer \
    apt-daily-upgrade.timer dpkg-db-backup.timer e2scrub_all.timer fstrim.timer \
    proc-sys-fs-binfmt_misc.automount; do
    ln -sf /dev/null "$1/etc/systemd/system/$unit"
  done
  echo lab-machine >"$1/etc/hostname"
}

tree=$lab/tree-$(sha256sum "${BASH_SOURCE[0]}" | head -c 16)
[ ! -d "$tree" ] || exit 0
grep -qs '^ID=debian$' /etc/os-release || give_up "setting it up needs Debian"
[ "$(id -u)" = 0 ] || give_up "setting it up needs root: run 'make lab-setup' as root once"
if ! have_tools; then
  { apt-get update -qq && DEBIAN_FRONTEND=noninteractive apt-get install -y -qq \
    --no-install-recommends debootstrap e2fsprogs >/dev/null; } ||
    give_up "apt-get could not install debootstrap and e2fsprogs"
fi
echo "the VM lab: making a Debian with systemd" >&2
mkdir -p "$lab"
scratch=$(mktemp -d "$lab/making.XXXXXX")
trap 'rm -rf "$scratch"' EXIT
debootstrap --variant=minbase --include="$packages" "$release" "$scratch/tree" "$(mirror)" \
  >"$lab/debootstrap.log" 2>&1 || give_up "debootstrap failed, see $lab/debootstrap.log"
slim_down "$scratch/tree"
rm -rf "$lab"/tree-*
mv "$scratch/tree" "$tree"
