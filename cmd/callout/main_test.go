package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"

	"callout/audio/whisper"
)

func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){
		"callout": func() { os.Exit(program()) },
	})
}

// Each script is one session at a shell. Those that need a program or the real
// recogniser say so with a condition: [espeak], [recogniser].
func TestScripts(t *testing.T) {
	testscript.Run(t, testscript.Params{
		Dir:                 "testdata/script",
		RequireExplicitExec: true,
		Setup: func(e *testscript.Env) error {
			e.Setenv("HOME", e.WorkDir)
			e.Setenv("XDG_DATA_HOME", filepath.Join(e.WorkDir, "data"))
			e.Setenv("XDG_CONFIG_HOME", filepath.Join(e.WorkDir, "config"))
			e.Setenv("CALLOUT_MODEL", os.Getenv("CALLOUT_MODEL"))
			e.Setenv("CALLOUT_SPEAK", "off")
			e.Setenv("TZ", "UTC")
			return nil
		},
		Condition: func(cond string) (bool, error) {
			switch cond {
			case "espeak":
				_, err := exec.LookPath("espeak-ng")
				return err == nil, nil
			case "recogniser":
				_, err := os.Stat(os.Getenv("CALLOUT_MODEL"))
				return whisper.Built && err == nil, nil
			}
			return false, nil
		},
	})
}
