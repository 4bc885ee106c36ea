#!/bin/bash
# A fresh Debian in a folder, for 64-bit Arm unless ARCH says otherwise, with python3 and git; a clone
# in it, and there README's first command, or the one given.
#
#     sudo bash tests/campaign/fresh_debian.sh FOLDER [COMMAND]
#
# Needs root, debootstrap and, for another processor, qemu-user-static; 2 GB, the network, and time:
# README.md beside it says how much. SUITE=trixie takes another Debian than 12, INCLUDE=udev,dbus more of
# its packages. FOLDER must not be there yet, and stays.
set -euo pipefail

here=$(cd -- "$(dirname -- "$0")/../.." && pwd)
arch=${ARCH:-arm64}
suite=${SUITE:-bookworm}
mirror=${MIRROR:-http://deb.debian.org/debian}
folder=$(realpath -m -- "${1:?the folder to make}")
first=$(sed -n '/^```sh$/,/^```$/p' "$here/README.md" | sed -n '2s/ *#.*//p')
command=${2:-$first}
binfmt=/proc/sys/fs/binfmt_misc
registered=

say() { printf '%s %s\n' "$(date +%T)" "$*"; }

# What was registered here is taken back.
clean_up() { [ -z "$registered" ] || echo -1 >"$binfmt/qemu-aarch64"; }
trap clean_up EXIT

[ "$(id -u)" -eq 0 ] || { say "this needs root"; exit 1; }
[ ! -e "$folder" ] || { say "$folder is there already"; exit 1; }

# The kernel has to know who runs programs for Arm: they start each other.
if [ "$arch" = arm64 ] && [ "$(uname -m)" != aarch64 ]; then
    [ -e "$binfmt/register" ] || mount -t binfmt_misc binfmt_misc "$binfmt"
    if [ ! -e "$binfmt/qemu-aarch64" ]; then
        grep -m1 '^:' /usr/lib/binfmt.d/qemu-aarch64.conf >"$binfmt/register"
        registered=yes
    fi
fi

say "Debian $suite for $arch"
debootstrap "--arch=$arch" --foreign --variant=minbase \
    "--include=ca-certificates,git,python3${INCLUDE:+,$INCLUDE}" "$suite" "$folder" "$mirror" \
    >"$folder.log"
# The next stage looks through the list of all Debian again and again, where qemu has to take minutes for
# each time; what is not on its way there need not be in it.
for list in "$folder"/var/lib/apt/lists/*_Packages; do
    awk -v names="$(cat "$folder"/debootstrap/{base,required})" '
        BEGIN { for (i = split(names, name); i; i--) wanted[name[i]]; RS = ""; ORS = "\n\n" }
        $2 in wanted' "$list" >"$list.new"
    mv "$list.new" "$list"
done
# What it mounts ends with it.
unshare --mount --propagation private \
    chroot "$folder" /debootstrap/debootstrap --second-stage >>"$folder.log"
rm "$folder"/var/lib/apt/lists/*_*  # or apt-get would take the short list for the whole

# Names, and certificates that this machine trusts besides Debian's.
cp /etc/resolv.conf "$folder/etc/"
find /usr/local/share/ca-certificates -name '*.crt' \
    -exec cp -t "$folder/usr/local/share/ca-certificates" {} +
chroot "$folder" update-ca-certificates >>"$folder.log"

git -C "$here" bundle create --quiet "$folder/root/tankhand.bundle" HEAD

say "a clone, and there: $command"
code=0
# Processes and mounts end with it.
unshare --mount --pid --fork --propagation private bash -euc '
    mount -t proc proc "$1/proc"
    mount --rbind /dev "$1/dev"
    exec chroot "$1" /usr/bin/env -i HOME=/root PATH=/usr/sbin:/usr/bin:/sbin:/bin LANG=C.UTF-8 \
        PIP_CERT=/etc/ssl/certs/ca-certificates.crt \
        sh -c "uname -m; cd; git -c advice.detachedHead=false clone --quiet tankhand.bundle && cd tankhand && $2"
' - "$folder" "$command" </dev/null || code=$?
say "ended with code $code"
exit "$code"
