#!/usr/bin/env bash
# Makes the VM lab ready: QEMU and a few tools, and a kernel with md under .lab/kernel.
# The kernel is Debian's, downloaded and unpacked; it is not installed. Does nothing, fast,
# when all is there. Where it cannot help it says why and succeeds, and the lab's tests are
# then skipped; with ARRAYGAUGE_LAB_REQUIRED=1 that is an error.
set -euo pipefail
repository=$(cd "$(dirname "${BASH_SOURCE[0]}")/../.." && pwd)
lab=$repository/.lab
packages=(qemu-system-x86 busybox-static cpio kmod e2fsprogs xfsprogs btrfs-progs strace)
PATH=$PATH:/usr/sbin:/sbin

give_up() {
  echo "the VM lab is not available here, its tests will be skipped: $1" >&2
  [ "${ARRAYGAUGE_LAB_REQUIRED:-}" != 1 ] || exit 1
  exit 0
}

have_tools() {
  for tool in qemu-system-x86_64 busybox cpio modprobe depmod setpriv mkfs.ext4 mkfs.xfs strace; do
    command -v "$tool" >/dev/null || return 1
  done
}

have_kernel() {
  compgen -G "$lab/kernel/boot/vmlinuz-*" >/dev/null
}

# Sets $failed instead of stopping, so that the reason is told in one place.
update_package_lists() {
  [ -n "${updated:-}" ] || apt-get update -qq || failed="apt-get update failed"
  updated=1
}

install_tools() {
  echo "the VM lab: installing ${packages[*]}" >&2
  update_package_lists
  DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends \
    "${packages[@]}" >/dev/null || failed="apt-get could not install ${packages[*]}"
}

kernel_package() {
  { apt-cache depends linux-image-amd64 2>/dev/null || true; } |
    sed -n 's/^ *Depends: \(linux-image-.*\)/\1/p'
}

unpack_kernel() {
  local package
  package=$(kernel_package)
  if [ -z "$package" ] || ! apt-get download --print-uris "$package" >/dev/null 2>&1; then
    update_package_lists
    package=$(kernel_package)
  fi
  if [ -z "$package" ]; then
    failed="apt knows no linux-image-amd64"
    return
  fi
  echo "the VM lab: downloading $package" >&2
  mkdir -p "$lab"
  scratch=$(mktemp -d "$lab/unpacking.XXXXXX")
  trap 'rm -rf "$scratch"' EXIT
  if (cd "$scratch" && apt-get download -qq -o APT::Sandbox::User=root "$package" >/dev/null &&
    mkdir kernel && dpkg -x ./*.deb kernel && depmod -b kernel "${package#linux-image-}"); then
    rm -rf "$lab/kernel"
    mv "$scratch/kernel" "$lab/kernel"
  else
    failed="the package '$package' could not be downloaded and unpacked"
  fi
}

# Python is slow in an emulated machine, compiling slower still, and the guest cannot write
# to the host's directories: what it imports must be compiled here.
compile_python() {
  local python=$repository/.venv/bin/python
  [ ! -x "$python" ] || "$python" -m compileall -q -j 0 "$repository"/.venv/lib/python*/site-packages \
    "$repository/agent" "$repository/tests/lab" || true
}

failed=
if ! have_tools || ! have_kernel; then
  [ "$(uname -m)" = x86_64 ] || give_up "it needs an x86-64 machine"
  grep -qs '^ID=debian$' /etc/os-release || give_up "setting it up needs Debian"
  [ "$(id -u)" = 0 ] || give_up "setting it up needs root: run 'make lab-setup' as root once"
  have_tools || install_tools
  [ -n "$failed" ] || have_kernel || unpack_kernel
  [ -z "$failed" ] || give_up "$failed"
fi
compile_python
