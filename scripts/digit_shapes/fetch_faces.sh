#!/usr/bin/env bash
# Downloads the font packages named in packages.txt and unpacks their faces into FOLDER/faces. Nothing is installed.
set -euo pipefail
here=$(cd "$(dirname "$0")" && pwd)
folder=${1:?usage: fetch_faces.sh FOLDER}
mkdir -p "$folder/debs" "$folder/faces"
cd "$folder/debs"
xargs -a "$here/packages.txt" apt-get download
for deb in *.deb; do
    name=${deb%%_*}
    mkdir -p "$folder/faces/$name"
    # A package without faces in the usual folder is skipped.
    dpkg-deb --fsys-tarfile "$deb" |
        tar -x -C "$folder/faces/$name" --wildcards './usr/share/fonts/*' 2>/dev/null || true
done
