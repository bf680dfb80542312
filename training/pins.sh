# What training fetches beside setup/kokoro.txt and the styles in setup/pins.mk.
WORDNET=1:3.0-37 # Debian 12; WordNet licence
MODELS="tiny.en base"
