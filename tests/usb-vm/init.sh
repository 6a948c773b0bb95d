#!/bin/busybox sh
# First process of the small machine: the host's files read-only with a layer in memory over them,
# the project under its own path, then the command that was left in the state folder.
/bin/busybox --install -s /bin
export PATH=/bin
mount -t proc proc /proc
mount -t sysfs sysfs /sys
mount -t devtmpfs dev /dev
while read -r module; do insmod "/modules/$module"; done < /modules/list

OPTIONS=trans=virtio,version=9p2000.L,msize=512000
mkdir -p /host /project /layer
mount -t 9p -o "ro,$OPTIONS,cache=loose" host /host
mount -t tmpfs -o size=75% tmpfs /layer
mkdir -p /layer/upper /layer/work /layer/project-upper /layer/project-work
mount -t overlay -o lowerdir=/host,upperdir=/layer/upper,workdir=/layer/work overlay /root

ROOT=/root
mount -t tmpfs tmpfs $ROOT/tmp
mount -t tmpfs tmpfs $ROOT/run
mkdir -p $ROOT/run/vm $ROOT/lib/modules
mount -t 9p -o "rw,$OPTIONS,cache=none" state $ROOT/run/vm
mount -t 9p -o "ro,$OPTIONS,cache=loose" modules $ROOT/lib/modules
PROJECT=$(cat $ROOT/run/vm/project)
mount -t 9p -o "ro,$OPTIONS,cache=loose" project /project
mkdir -p "$ROOT$PROJECT"
mount -t overlay -o lowerdir=/project,upperdir=/layer/project-upper,workdir=/layer/project-work overlay "$ROOT$PROJECT"

mount --move /proc $ROOT/proc
mount --move /sys $ROOT/sys
mount --move /dev $ROOT/dev
mkdir -p $ROOT/dev/pts $ROOT/dev/shm $ROOT/dev/virtio-ports
mount -t devpts devpts $ROOT/dev/pts
mount -t tmpfs tmpfs $ROOT/dev/shm
for port in $ROOT/sys/class/virtio-ports/*; do
  ln -sf "/dev/${port##*/}" "$ROOT/dev/virtio-ports/$(cat "$port/name")"
done
ifconfig lo 127.0.0.1 up
# A changed root alone would forbid user namespaces, which the service's sandbox is made of.
exec switch_root $ROOT /bin/bash /run/vm/inside.sh <$ROOT/dev/null
