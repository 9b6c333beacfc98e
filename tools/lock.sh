#!/bin/sh
# Write requirements/*.txt anew: exact versions with hashes, for every platform, without index addresses.
set -eu
cd "$(dirname "$0")/.."
compile() { uv pip compile --universal --python-version 3.11 --generate-hashes --no-emit-index-url --no-header --no-annotate -q "$@"; }
compile requirements/run.in -o requirements/run.txt
compile requirements/test.in -c requirements/run.txt -o requirements/test.txt
compile requirements/samples.in --no-deps -o requirements/samples.txt
