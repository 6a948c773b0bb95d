# A service manager of a made-up ordinary user, in a mount namespace of its own, so that nothing of it is left on the
# machine. Started by root; it ends, with everything that it started, when standard input does.
#
# TREE, NODE: what the user may read of the program, under /run/tree and /run/node, wherever they are.
# HOME_DIR: the user's home, under /run/home.
set -eu
uid=61000
group=/sys/fs/cgroup/nattvakt-test-$$

mount -t cgroup2 none /sys/fs/cgroup
# What a start of the computer leaves in /run, as far as the manager looks for it.
mount -t tmpfs none /run
mkdir -p /run/systemd/system /run/systemd/unit-root /run/tree /run/home /run/user/$uid
touch /run/node
mount --bind "$TREE" /run/tree
mount --bind "$NODE" /run/node
mount --bind "$HOME_DIR" /run/home
{ cat /etc/passwd; echo "ada:x:$uid:$uid::/run/home:/bin/sh"; } > /run/passwd
{ cat /etc/group; echo "ada:x:$uid:"; } > /run/group
mount --bind /run/passwd /etc/passwd
mount --bind /run/group /etc/group
mkdir "$group"
chown -R $uid:$uid "$group" /run/user/$uid "$HOME_DIR"
chmod 700 /run/user/$uid

export HOME=/run/home USER=ada XDG_RUNTIME_DIR=/run/user/$uid
as_user="setpriv --reuid=$uid --regid=$uid --clear-groups --inh-caps=-all"
sh -c 'echo $$ > "$1/cgroup.procs"; shift; exec "$@"' sh "$group" \
  $as_user /lib/systemd/systemd --user < /dev/null &
until [ -S "$XDG_RUNTIME_DIR/systemd/private" ]; do
  kill -0 $! || exit 1
  sleep 0.1
done
$as_user systemctl --user is-system-running --wait || true
echo ready
cat > /dev/null
echo 1 > "$group/cgroup.kill"
wait
until find "$group" -depth -type d -exec rmdir {} + 2> /dev/null; do sleep 0.1; done
