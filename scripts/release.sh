#!/usr/bin/env bash
# Builds the files that are handed out: one for each system, from a commit and
# nothing but that commit, with the licence texts of everything linked and the
# sums of all. Usage: scripts/release.sh [COMMIT [FOLDER]]   (HEAD, dist)
set -euo pipefail
root=$(cd "$(dirname "${BASH_SOURCE[0]}")/.." && pwd)
commit=${1:-HEAD}
out=${2:-$root/dist}
limit=$((30 * 1000 * 1000)) # bytes a file
targets=${CORNERWRIGHT_TARGETS:-linux/amd64 linux/arm64 darwin/amd64 darwin/arm64 windows/amd64}
stop() { printf 'release: %s\n' "$1" >&2; exit 1; }
sum() { if command -v sha256sum >/dev/null; then sha256sum "$@"; else shasum -a 256 "$@"; fi; }

# A clone, so that what lies uncommitted in the folder goes into no file, and
# the commit is stamped into each (cornerwright version shows it).
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
git clone --quiet --shared --no-checkout "$root" "$work/src"
cd "$work/src"
git checkout --quiet --detach "$(git -C "$root" rev-parse --verify "$commit^{commit}")"
version=$(git describe --tags --always)
mkdir -p "$out"
rm -f "$out"/cornerwright-* "$out/SHA256SUMS" "$out/licences.txt"

export CGO_ENABLED=0
# HTTP/2 is left out: the pages are asked from this machine and a few phones, for
# which HTTP/1.1 does, and it is half a megabyte of each file.
tags=nethttpomithttp2
for t in $targets; do
  os=${t%/*} arch=${t#*/} ext=
  [ "$os" = windows ] && ext=.exe
  file=cornerwright-$version-$os-$arch$ext
  GOOS=$os GOARCH=$arch go build -tags $tags -trimpath -buildvcs=true -ldflags='-s -w -buildid=' -o "$out/$file" ./cmd/cornerwright
  size=$(wc -c <"$out/$file")
  printf '%-48s %5.1f MB\n' "$file" "$(awk "BEGIN {print $size / 1e6}")"
  [ "$size" -lt "$limit" ] || stop "$file has $size bytes, more than $limit"
  # What is linked differs a little from system to system.
  GOOS=$os GOARCH=$arch go list -tags $tags -deps -f '{{with .Module}}{{if not .Main}}{{.Path}} {{.Version}} {{.Dir}}{{end}}{{end}}' ./cmd/cornerwright >>"$work/modules"
done

{
  printf 'Cornerwright %s holds the following works. Their licences follow.\n\n' "$version"
  sort -u "$work/modules" | awk 'NF {print "  " $1 " " $2}'
  printf '  the Go standard library and runtime, %s\n' "$(go env GOVERSION)"
  for f in LICENSE NOTICE; do printf '\n==== cornerwright, %s\n\n' "$f"; cat "$f"; done
  printf '\n==== Go\n\n'
  cat "$(go env GOROOT)/LICENSE"
} >"$out/licences.txt"
sort -u "$work/modules" | while read -r path v dir; do
  [ -n "$path" ] || continue
  found=$(find "$dir" -maxdepth 1 -type f \( -iname 'licen[sc]e*' -o -iname 'copying*' -o -iname 'notice*' \) | sort)
  [ -n "$found" ] || stop "$path $v has no licence text: it must not be handed out"
  for f in $found; do printf '\n==== %s %s, %s\n\n' "$path" "$v" "$(basename "$f")"; cat "$f"; done
done >>"$out/licences.txt"

cd "$out"
sum cornerwright-* licences.txt >SHA256SUMS
printf '%s files and their sums in %s\n' "$(wc -l <SHA256SUMS)" "$out"
