#!/bin/busybox sh
# What runs before systemd in the guest that has it: loads the modules, mounts the disk with the
# root and hands over. systemd mounts the rest.
b=/bin/busybox
$b mount -t proc proc /proc
$b mount -t sysfs sysfs /sys
$b mount -t devtmpfs devtmpfs /dev
while read -r module; do
  $b insmod "/modules/$module" || echo "lab: module $module was not loaded"
done </modules/order

tries=0
until root=$($b grep -l '^lab-root$' /sys/block/*/serial 2>/dev/null); do
  tries=$((tries + 1))
  [ "$tries" -lt 100 ] || { echo "lab: no disk with a root"; $b poweroff -f; }
  $b sleep 0.1
done
root=${root%/serial}
$b mount -t ext4 "/dev/${root##*/}" /root
for tree in proc sys dev; do $b mount -o move /$tree /root/$tree; done
exec $b env -i $b switch_root /root /lib/systemd/systemd
