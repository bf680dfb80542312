#!/bin/sh
# The steps on the machine with the GPU. It needs nothing from a network: pack.sh has put
# the parts into a folder that travels with the tree.
#   run.sh unpack FOLDER [last]    what came with this call into $DATA
#   run.sh robots SECONDS          espeak-ng and flite clips, in the background
#   run.sh naturals SECONDS        clips of the neural voices, in the background
#   run.sh train NAME MODEL [OPTION...]  one training run, in the background
#   run.sh measure MODEL NAME=STRENGTH,...  ...
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
unpack) # FOLDER: in their order, "last" after the last of a kind
	cp "$1"/*.xz "$DATA/"
	[ "${2:-}" = last ] || exit 0
	kind=$(basename "$1")
	kind=${kind%-*}
	cat "$DATA/$kind"-*.xz | xz -d -T0 | tar x -C "$DATA/parts"
	rm "$DATA/$kind"-*.xz
	if [ "$kind" = voices ]; then
		mv "$DATA/parts/bin/espeak-ng" "$DATA/parts/bin/espeak-ng.real" # its libraries are for it alone
		printf '#!/bin/sh\nLD_LIBRARY_PATH=%s/parts/lib exec %s/parts/bin/espeak-ng.real "$@"\n' "$DATA" "$DATA" >"$DATA/parts/bin/espeak-ng"
		chmod +x "$DATA/parts/bin/espeak-ng"
	fi
	ls -l "$DATA/parts"
	;;
robots) speak robot "$1" "${WORKERS:-16}" ;;
naturals) speak natural "$1" "${WORKERS:-16}" ;;
train)
	name=$1 model=$2
	shift 2
	OMP_NUM_THREADS=2 setsid nohup python3 "$here/train.py" "$DATA/parts/$model.bin" "$DATA/clips" "$DATA/runs/$name" "$@" >"$DATA/runs/$name.log" 2>&1 </dev/null &
	;;
measure)
	model=$1
	shift
	args=
	for a in "$@"; do args="$args $DATA/runs/${a%%=*}.safetensors=${a#*=}"; done
	python3 "$here/measure.py" "$DATA/parts/$model.bin" "$DATA/clips" "$DATA/runs/measured-$model.json" $args
	;;
esac
