#!/bin/sh
# Fetches and builds the speech library.
# usage: engine.sh PACKAGE VERSION SHA256 DIR NATIVE(ON|OFF) PATCH…
# DIR gets include/ and lib/. The last step is a rename, so DIR is there only when whole;
# what a killed run leaves behind is swept by the next.
set -eu
package=$1 version=$2 sum=$3 dir=$4 native=$5
shift 5
parts=$(dirname "$dir") log=$dir.log work=$dir.work
archive=$parts/downloads/$package-$version.tgz

fail() { echo "setup: $*" >&2; exit 1; }
need() { command -v "$1" >/dev/null 2>&1 || fail "$1 is missing; $2, then run make again"; }

mkdir -p "$parts/downloads"
exec 9>"$parts/engine.lock"
flock 9
[ -e "$dir/done" ] && exit 0
need cmake "run: sh setup/debian.sh"
need g++ "run: sh setup/debian.sh"
need patch "run: sh setup/debian.sh"

rm -rf "$work" "$dir"
sh "$(dirname "$0")/npm.sh" "$package" "$version" "$sum" "$parts/downloads" "the speech library, 6 MB"

mkdir "$work"
tar -xzf "$archive" -C "$work" package/cpp/whisper.cpp || fail "cannot unpack $archive; is the disk full?"
: >"$log"
for patch; do
	patch --silent --directory "$work/package/cpp/whisper.cpp" -p1 <"$patch" >>"$log" 2>&1 || fail "$patch does not fit the speech library; see $log"
done
echo "setup: building the speech library (about a minute on two cores)" >&2
if ! cmake -S "$work/package/cpp/whisper.cpp" -B "$work/build" -DCMAKE_BUILD_TYPE=Release \
	-DBUILD_SHARED_LIBS=OFF -DGGML_NATIVE="$native" -DGGML_LLAMAFILE=ON -DCMAKE_INSTALL_LIBDIR=lib \
	-DWHISPER_BUILD_TESTS=OFF -DWHISPER_BUILD_EXAMPLES=OFF -DWHISPER_BUILD_SERVER=OFF \
	-DGGML_CCACHE=OFF -DCMAKE_INSTALL_PREFIX="$work/install" >"$log" 2>&1; then
	fail "cmake cannot configure the speech library: $(grep -m 1 -i error "$log" || tail -n 1 "$log"); the whole output is in $log"
fi
{ cmake --build "$work/build" -j "$(nproc)" 2>&1 && cmake --install "$work/build" 2>&1 && echo built; } | tee -a "$log" |
	awk '/^\[ *[0-9]+%\]/ { sub(/^\[ */, ""); n = int($0); if (n >= next_) { printf "setup: %d%%\n", n; next_ = n - n % 20 + 20; fflush() } }' >&2
[ "$(tail -n 1 "$log")" = built ] ||
	fail "the speech library did not build: $(grep -m 1 -i 'error' "$log" || tail -n 1 "$log"); the whole output is in $log"
cp "$work/package/cpp/whisper.cpp/LICENSE" "$work/install/LICENSE"
touch "$work/install/done"
sync "$work/install/done"
mv "$work/install" "$dir"
rm -rf "$work"
