# What training fetches beside setup/kokoro.txt, by package name.
KOKORO_JS=1.2.1 # npm; Apache-2.0
KOKORO_JS_SHA256=1f0d0383ef0349af0bd9440d81dc12abbea3a5392eb645283eda876f537f5860
WORDNET=1:3.0-37 # Debian 12; WordNet licence
