#!/bin/bash
# A machine of its own for tests/faults/test_under_systemd.py: the first process of new pid, mount, ipc, uts and
# cgroup namespaces. Lays out folders in memory, installs the unit, its user and its folders as systemd/keyturn.service
# says, hides everything else, and becomes systemd. Nothing of the machine around it can be written.
#
#   unshare --pid --mount --ipc --uts --cgroup --fork --kill-child machine.sh MEMORY CHECKOUT SITE_PACKAGES
set -euo pipefail
memory=$1 checkout=$2 packages=$3

mount --make-rprivate /
mount -t proc proc /proc
mount -t tmpfs -o mode=755 tmpfs "$memory"
mkdir -p "$memory"/{opt/keyturn,opt/checkout,opt/packages,srv,lib,log,dev/shm,dev/pts,art}
cp -a /etc "$memory/etc"

# The program: an environment on the system's Python, since /root, /home and /tmp are not there for the service.
/usr/bin/python3 -m venv --without-pip "$memory/opt/keyturn"
site=$(echo "$memory"/opt/keyturn/lib/python3.*/site-packages)
printf '/opt/checkout/daemon\n/opt/packages\n' > "$site/keyturn.pth"
cat > "$memory/opt/keyturn/bin/keyturn" <<'PROGRAM'
#!/opt/keyturn/bin/python3
from keyturn.commands.app import main

if __name__ == "__main__":
    main()
PROGRAM
chmod 755 "$memory/opt/keyturn/bin/keyturn"
mount --bind "$checkout" "$memory/opt/checkout"
mount --bind "$packages" "$memory/opt/packages"

for device in "null 1 3" "zero 1 5" "full 1 7" "random 1 8" "urandom 1 9" "tty 5 0"; do
    read -r name major minor <<<"$device"
    mknod -m 666 "$memory/dev/$name" c "$major" "$minor"
done
ln -s /proc/self/fd "$memory/dev/fd"

mount --rbind "$memory/opt" /opt
mount --bind "$memory/srv" /srv
mount --bind "$memory/etc" /etc
mount --bind "$memory/lib" /var/lib
mount --bind "$memory/log" /var/log
mount -t tmpfs -o mode=1777 tmpfs /var/tmp
mount -t tmpfs tmpfs /run
mkdir -p /run/art /run/lock
mount --bind "$memory/art" /run/art

# As the head of systemd/keyturn.service tells an operator to do.
rm -rf /etc/systemd/system/* /etc/fstab
cp "$checkout/systemd/keyturn.service" /etc/systemd/system/
mkdir -p /etc/sysusers.d /etc/tmpfiles.d
cp "$checkout/systemd/keyturn.sysusers" /etc/sysusers.d/keyturn.conf
cp "$checkout/systemd/keyturn.tmpfiles" /etc/tmpfiles.d/keyturn.conf
systemd-sysusers keyturn.conf
systemd-tmpfiles --create keyturn.conf
id ines >/dev/null 2>&1 || useradd --no-create-home ines
usermod --append --groups keyturn ines

# What would look after real hardware and real folders stays out; systemd-tmpfiles would empty /tmp.
for unit in systemd-udevd.service systemd-udevd-{control,kernel}.socket systemd-udev-{trigger,settle}.service \
    systemd-tmpfiles-{setup,setup-dev,clean}.service systemd-tmpfiles-clean.timer systemd-modules-load.service \
    systemd-{sysctl,remount-fs,random-seed,update-utmp,sysusers}.service kmod-static-nodes.service \
    proc-sys-fs-binfmt_misc.automount dev-{hugepages,mqueue}.mount sys-kernel-{debug,tracing,config}.mount \
    sys-fs-fuse-connections.mount; do
    ln -s /dev/null "/etc/systemd/system/$unit"
done
printf '[Unit]\nWants=systemd-journald.service keyturn.service\n' > /etc/systemd/system/only-keyturn.target

mount --rbind "$memory/dev" /dev
mount -t tmpfs -o mode=1777 tmpfs /dev/shm
mount -t devpts -o newinstance,ptmxmode=666 devpts /dev/pts
ln -s pts/ptmx /dev/ptmx
mount -t tmpfs -o mode=1777 tmpfs /tmp
mount -o remount,bind,ro /
mount -o remount,bind,ro /sys
exec env -i container=other PATH="$PATH" LANG=C.UTF-8 \
    "$(command -v /lib/systemd/systemd || command -v systemd)" --system --unit=only-keyturn.target
