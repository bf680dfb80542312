# What training fetches beside setup/kokoro.txt and the styles in setup/pins.mk.
WORDNET=1:3.0-37 # Debian 12; WordNet licence
MODELS="tiny.en base"
PICO=ttspico==0.3.2 # Apache-2.0, source
PICO_SHA256=743a280a8ced8523583665cb45797d730aceb2e145a04a212f82ebb0b5fac6c8
