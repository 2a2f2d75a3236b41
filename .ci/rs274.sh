#!/bin/sh
# Unpacks an outside RS-274 interpreter (GPL-2) for the tests, without installing anything.
# Usage: .ci/rs274.sh FOLDER      Needs a Debian-like system with package lists up to date.
# It prints the settings the tests need; take them over with: eval "$(.ci/rs274.sh FOLDER)"
set -eu

folder=${1:?say where to unpack: .ci/rs274.sh FOLDER}
mkdir -p "$folder/packages"
folder=$(cd "$folder" && pwd)

# The interpreter's own package, and whichever boost it was linked with.
boost=$(apt-cache depends linuxcnc-uspace | sed -n 's/.*Depends: \(libboost-python[0-9.]*\)$/\1/p' | head -n 1)
(cd "$folder/packages" && apt-get download linuxcnc-uspace ${boost:+"$boost"} >&2)
for package in "$folder"/packages/*.deb; do
    dpkg -x "$package" "$folder"
done

libraries="$folder/usr/lib"
for more in "$folder"/usr/lib/*-linux-gnu; do
    [ -d "$more" ] && libraries="$libraries:$more"
done
echo "export PATH='$folder/usr/bin':\"\$PATH\""
echo "export LD_LIBRARY_PATH='$libraries'\${LD_LIBRARY_PATH:+:\"\$LD_LIBRARY_PATH\"}"
