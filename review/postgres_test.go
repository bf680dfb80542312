package review

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"strconv"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// server is the PostgreSQL that the tests share; TestMain stops it.
var server struct {
	once sync.Once
	dir  string
	skip string
	cmd  *exec.Cmd
	used int
	mu   sync.Mutex
}

func TestMain(m *testing.M) {
	code := m.Run()
	if server.cmd != nil {
		_ = server.cmd.Process.Signal(syscall.SIGINT)
		_ = server.cmd.Wait()
	}
	if server.dir != "" {
		_ = os.RemoveAll(server.dir)
	}
	os.Exit(code)
}

// postgres gives the address of a new, empty database, or skips the test where
// PostgreSQL is not installed.
func postgres(t testing.TB) string {
	t.Helper()
	server.once.Do(func() {
		if err := startServer(); err != nil {
			server.skip = err.Error()
		}
	})
	if server.skip != "" {
		t.Skipf("no PostgreSQL to test with (Debian's package postgresql has it): %s", server.skip)
	}
	server.mu.Lock()
	server.used++
	name := fmt.Sprintf("review_%d", server.used)
	server.mu.Unlock()
	admin, err := Open(context.Background(), address("postgres"))
	require.NoError(t, err)
	defer admin.Close()
	_, err = admin.db.Exec(`CREATE DATABASE ` + name)
	require.NoError(t, err)
	return address(name)
}

func address(database string) string {
	return fmt.Sprintf("postgres://review@/%s?host=%s", database, server.dir)
}

func tool(name string) (string, error) {
	if path, err := exec.LookPath(name); err == nil {
		return path, nil
	}
	found, err := filepath.Glob("/usr/lib/postgresql/*/bin/" + name)
	if err != nil || len(found) == 0 {
		return "", fmt.Errorf("%s not found", name)
	}
	return found[len(found)-1], nil
}

func startServer() error {
	initdb, err := tool("initdb")
	if err != nil {
		return err
	}
	postgres, err := tool("postgres")
	if err != nil {
		return err
	}
	server.dir, err = os.MkdirTemp("", "review-pg-")
	if err != nil {
		return err
	}
	attr := &syscall.SysProcAttr{}
	if os.Getuid() == 0 { // PostgreSQL will not run as root
		u, err := user.Lookup("postgres")
		if err != nil {
			return err
		}
		uid, _ := strconv.Atoi(u.Uid)
		gid, _ := strconv.Atoi(u.Gid)
		attr.Credential = &syscall.Credential{Uid: uint32(uid), Gid: uint32(gid)}
		if err := os.Chown(server.dir, uid, gid); err != nil {
			return err
		}
	}
	run := func(name string, args ...string) *exec.Cmd {
		c := exec.Command(name, args...)
		c.Dir = server.dir
		c.SysProcAttr = attr
		return c
	}
	data := filepath.Join(server.dir, "data")
	if out, err := run(initdb, "-D", data, "-U", "review", "-A", "trust", "-E", "UTF8", "--no-sync").CombinedOutput(); err != nil {
		return fmt.Errorf("initdb: %w: %s", err, out)
	}
	c := run(postgres, "-D", data, "-k", server.dir, "-c", "listen_addresses=", "-c", "fsync=off", "-c", "shared_buffers=64MB")
	if err := c.Start(); err != nil {
		return err
	}
	server.cmd = c
	for range 100 {
		s, err := Open(context.Background(), address("postgres"))
		if err == nil {
			return s.Close()
		}
		time.Sleep(100 * time.Millisecond)
	}
	return fmt.Errorf("postgres did not answer")
}
