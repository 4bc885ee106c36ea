#!/bin/bash
# A fresh Debian in a folder, booted by its own systemd, and the service in it: installed, struck, booted
# anew, upgraded and removed. What has to be then stands in booted.py, which runs in there.
#
#     sudo bash tests/campaign/booted_debian.sh FOLDER
#
# Needs root, debootstrap and systemd-nspawn (Debian's systemd-container); 2 GB, the network, and
# time: README.md beside it says how much. SUITE=trixie takes another Debian than 12. FOLDER must not be
# there yet, and stays.
set -euo pipefail

campaign=$(cd -- "$(dirname -- "$0")" && pwd)
folder=$(realpath -m -- "${1:?the folder to make}")

ARCH=$(dpkg --print-architecture) INCLUDE=dbus,systemd-sysv,udev \
    bash "$campaign/fresh_debian.sh" "$folder" true
install -m 644 "$campaign/booted.py" "$folder/opt/booted.py"

# By systemd, so that it lives through no reboot, and is started anew by it.
cat >"$folder/etc/systemd/system/booted.service" <<'UNIT'
[Unit]
Description=what the service has to bear
After=multi-user.target

[Service]
Type=oneshot
ExecStart=/usr/bin/python3 /opt/booted.py
WorkingDirectory=/root/tankhand
Environment=HOME=/root LANG=C.UTF-8 PIP_CERT=/etc/ssl/certs/ca-certificates.crt
StandardOutput=append:/var/log/booted
StandardError=inherit

[Install]
WantedBy=multi-user.target
UNIT
systemctl --root="$folder" enable --quiet booted

# As on a machine of its own, systemd may raise limits: the unit asks for real time.
options=(--capability=CAP_SYS_RESOURCE)
# Where systemd runs this machine it is told of the other one, and gives it a group of its own. Elsewhere
# there is nobody to tell, and two without a group of their own would take each other's services for theirs.
trees=()
leave() {
    local tree
    for tree in "${trees[@]}"; do
        echo $$ >"$tree/cgroup.procs"
        find "$tree/booted.$$" -depth -type d -exec rmdir {} +
    done
}
if [ ! -d /run/systemd/system ]; then
    options+=(--register=no --keep-unit)
    for tree in /sys/fs/cgroup /sys/fs/cgroup/{systemd,unified}; do
        [ ! -e "$tree/cgroup.procs" ] || trees+=("$tree")
    done
    trap leave EXIT
    for tree in "${trees[@]}"; do
        mkdir "$tree/booted.$$"
        echo $$ >"$tree/booted.$$/cgroup.procs"
    done
fi
boots_anew=133
code=$boots_anew
while [ "$code" -eq "$boots_anew" ]; do
    code=0
    systemd-nspawn --quiet --directory="$folder" --boot --resolv-conf=off --link-journal=no \
        --console=pipe "${options[@]}" </dev/null >>"$folder.console" || code=$?
done
cat "$folder/var/log/booted"
exit "$code"
