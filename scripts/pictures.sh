#!/usr/bin/env bash
# Makes the README's pictures anew from the pages in a real browser, and keeps
# one of every page beside them where a folder is named.
# Usage: scripts/pictures.sh [FOLDER]
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/.."
out=${1:-$(mktemp -d)}
CORNERWRIGHT_SHOTS=$(realpath -m "$out") go test -count=1 -run TestPictures ./internal/web/browser
mkdir -p docs/pictures
cp "$out/readme-debrief.png" docs/pictures/debrief.png
cp "$out/readme-turn.png" docs/pictures/turn.png
echo "docs/pictures/debrief.png, docs/pictures/turn.png; every page in $out"
