#!/usr/bin/env bash
# The demo's results on this machine and on arm64 under qemu-user, compared.
set -euo pipefail
cd "$(dirname "$0")/../.."
qemu=$(command -v qemu-aarch64-static || command -v qemu-aarch64 || true)
if [ -z "$qemu" ]; then echo "arm64: install qemu-user-static to run this step" >&2; exit 1; fi
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
CGO_ENABLED=0 go build -o "$work/native" ./cmd/dosetone
CGO_ENABLED=0 GOARCH=arm64 go build -o "$work/arm64" ./cmd/dosetone
for kind in native arm64; do
  out=$work/out-$kind data=$work/data-$kind
  mkdir -p "$out"
  run="$work/native"
  if [ "$kind" = arm64 ]; then run="$qemu $work/arm64"; fi
  "$work/native" demo --out "$data" >/dev/null
  (
    cd "$data"
    # Each kind fits its own model, and predicts from it.
    model=own.json
    $run fit invented-pellet-trials.csv -o $model --format json >"$out/fit.json"
    grep -v tool_version $model >"$out/model.json"
    $run predict $model --strength 6 --ratio 1.5 --time 12 --format json >"$out/predict.json"
    $run suggest $model --target invented-pellet-standard.csv --tolerance 1.5 --format json >"$out/suggest.json"
    $run check invented-pellet-production.csv --standard invented-pellet-standard.csv --model $model --format json >"$out/check.json" || [ $? = 3 ]
    $run convert invented-pellet-trials.csv --format json >"$out/convert.json"
    $run charge $model --strength 6 --ratio 1.5 --time 12 --mass 50 --neutralizer bisulfite --format json >"$out/charge.json"
  ) 2>/dev/null
done
go run ./internal/samenumbers "$work/out-native" "$work/out-arm64"
