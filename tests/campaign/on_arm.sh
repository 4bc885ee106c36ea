#!/bin/bash
# The demo's plan rehearsed by Debian's Python for 64-bit Arm, and by this machine's: they have to say
# the same, line by line.
#
#     sudo bash tests/campaign/on_arm.sh FOLDER
#
# Debian's packages for Arm are only unpacked, and Python's are fetched ready made for Arm, so that qemu
# has little to run; fresh_debian.sh has it run everything.
# Needs root, debootstrap, qemu-user-static and the environment that ./go demo makes; 1 GB, the
# network, and some minutes. FOLDER must not be there yet, and stays.
set -euo pipefail

here=$(cd -- "$(dirname -- "$0")/../.." && pwd)
python=$here/.venv/bin/python
folder=$(realpath -m -- "${1:?the folder to make}")
packages=/root/packages
settings=/root/settings.toml
plan=daemon/service/examples/lamp_foot.toml

say() { printf '%s %s\n' "$(date +%T)" "$*"; }

[ "$(id -u)" -eq 0 ] || { say "this needs root"; exit 1; }
[ ! -e "$folder" ] || { say "$folder is there already"; exit 1; }

say "Debian 12 for Arm"
debootstrap --arch=arm64 --foreign --variant=minbase --include=python3 \
    bookworm "$folder" "${MIRROR:-http://deb.debian.org/debian}" >"$folder.log"
for package in "$folder"/var/cache/apt/archives/*.deb; do
    dpkg-deb --fsys-tarfile "$package" | tar -x -C "$folder" --keep-directory-symlink
done
cp "$(command -v qemu-aarch64-static)" "$folder/"

say "Python's packages for Arm, with the library for the pins"
mapfile -t wanted < <("$python" -c '
import sys, tomllib
project = tomllib.load(open(sys.argv[1], "rb"))["project"]
print(*project["dependencies"], *project["optional-dependencies"]["pi"], sep="\n")
' "$here/pyproject.toml")
platforms=(linux manylinux2014 manylinux_2_17 manylinux_2_28 manylinux_2_31 manylinux_2_34)
platforms=("${platforms[@]/%/_aarch64}")
"$python" -m pip install --quiet --no-compile --target "$folder$packages" --only-binary=:all: \
    --implementation cp --python-version 3.11 --abi cp311 --abi abi3 --abi none \
    "${platforms[@]/#/--platform=}" "${wanted[@]}"
git -C "$here" archive --prefix=root/tankhand/ HEAD | tar -x -C "$folder"
printf '[supply]\nport = "/dev/ttyUSB0"\n[bath]\nname = "Bath"\n' >"$folder$settings"

say "rehearsing on Arm"
rehearse() { # below the folder $1 as Python sees it, by the command that is Python
    "${@:2}" -m daemon.service.commands.cli rehearse "$1/root/tankhand/$plan" --settings "$1$settings"
}
arm=(chroot "$folder" /qemu-aarch64-static -E LANG=C.UTF-8 -E "PYTHONPATH=/root/tankhand:$packages" /usr/bin/python3)
"${arm[@]}" -c 'import lgpio, platform; print(platform.machine(), platform.python_version())'
rehearse "" "${arm[@]}" >"$folder.arm"
say "and here"
rehearse "$folder" env LANG=C.UTF-8 "PYTHONPATH=$folder/root/tankhand" "$python" >"$folder.here"
diff "$folder.arm" "$folder.here"
say "the same: $(grep '^verdict' "$folder.arm")"
