#!/bin/busybox sh
# PID 1 of the guest: loads the modules, mounts the host's root with a writable layer in
# memory over it, starts the guest agent in it and powers off when the agent ends.
b=/bin/busybox
$b mount -t proc proc /proc
$b mount -t sysfs sysfs /sys
$b mount -t devtmpfs devtmpfs /dev
while read -r module; do
  $b insmod "/modules/$module" || echo "lab: module $module was not loaded"
done </modules/order

$b mount -t 9p -o trans=virtio,version=9p2000.L,msize=512000,cache=loose,ro host /lower
$b mount -t tmpfs tmpfs /layer
$b mkdir /layer/upper /layer/work
$b mount -t overlay -o lowerdir=/lower,upperdir=/layer/upper,workdir=/layer/work overlay /root

$b mkdir -p /dev/pts /dev/shm /root/var/lib/arraygauge
$b mount -t devpts devpts /dev/pts
$b mount -t tmpfs tmpfs /dev/shm
$b ln -s /proc/self/fd /dev/fd
$b ln -s /proc/self/fd/0 /dev/stdin
$b ln -s /proc/self/fd/1 /dev/stdout
$b ln -s /proc/self/fd/2 /dev/stderr
$b hostname lab-machine
$b ifconfig lo 127.0.0.1 up
for tree in proc sys dev; do $b mount -o move /$tree /root/$tree; done
# The repository may lie in a folder that one of these would hide, a clone in /tmp for instance.
$b mkdir /keep
$b mount -o bind "/root$LAB_REPOSITORY" /keep
for tree in run tmp var/lib/arraygauge; do $b mount -t tmpfs tmpfs /root/$tree; done
if [ ! -e "/root$LAB_REPOSITORY/pyproject.toml" ]; then
  $b mkdir -p "/root$LAB_REPOSITORY"
  $b mount -o bind /keep "/root$LAB_REPOSITORY"
fi

path=${LAB_PYTHON%/*}:/usr/local/sbin:/usr/local/bin:/usr/sbin:/usr/bin:/sbin:/bin
$b env -i HOME=/root LANG=C.UTF-8 PATH="$path" $b chroot /root "$LAB_PYTHON" "$LAB_AGENT"
echo "lab: the guest agent ended with status $?"
$b poweroff -f
