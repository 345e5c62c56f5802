// Package pgtemp starts a PostgreSQL with PostGIS of its own for one test and
// throws it away after. For tests only; it imports nothing of the service.
package pgtemp

import (
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"sort"
	"strconv"
	"strings"
	"syscall"
	"testing"
)

// Start returns the connection string (for lib/pq) of a new, empty server with
// PostGIS, which ends with the test. The test is skipped where PostgreSQL is not
// installed. It listens on a socket in a short folder of its own, no port.
func Start(t testing.TB) string {
	t.Helper()
	dsn, _, _ := StartLosable(t)
	return dsn
}

// StartLosable is Start for a trial in which the server is lost, as by a crash,
// and comes back with what it had committed to disk. (A connection that asks for
// options='-c synchronous_commit=on' has each commit there.)
func StartLosable(t testing.TB) (dsn string, lose, back func()) {
	t.Helper()
	skip := t.Skip
	if os.Getenv("CI") != "" { // there the database is installed, and must be
		skip = t.Fatal
	}
	bins, _ := filepath.Glob("/usr/lib/postgresql/*/bin")
	if len(bins) == 0 {
		skip("PostgreSQL is not installed here (postgresql-15, postgresql-15-postgis-3)")
	}
	sort.Strings(bins)
	bin := bins[len(bins)-1]
	dir, err := os.MkdirTemp("/tmp", "pg") // short: a socket's path ends at some 100 characters
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.RemoveAll(dir) })
	attr := &syscall.SysProcAttr{}
	if os.Getuid() == 0 { // the server refuses to run as root
		u, err := user.Lookup("postgres")
		if err != nil {
			skip("running as root and there is no user postgres: ", err)
		}
		uid, _ := strconv.Atoi(u.Uid)
		gid, _ := strconv.Atoi(u.Gid)
		if err := os.Chown(dir, uid, gid); err != nil {
			t.Fatal(err)
		}
		attr.Credential = &syscall.Credential{Uid: uint32(uid), Gid: uint32(gid)}
	}
	run := func(name string, args ...string) {
		t.Helper()
		c := exec.Command(filepath.Join(bin, name), args...)
		c.Dir, c.SysProcAttr = dir, attr
		c.Env = append(os.Environ(), "HOME="+dir)
		// to a file: the server keeps the pipe of pg_ctl open
		log, err := os.OpenFile(filepath.Join(dir, "out"), os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o666)
		if err != nil {
			t.Fatal(err)
		}
		defer log.Close()
		c.Stdout, c.Stderr = log, log
		if err := c.Run(); err != nil {
			said, _ := os.ReadFile(log.Name())
			server, _ := os.ReadFile(filepath.Join(dir, "log"))
			t.Fatalf("%s: %v\n%s\n%s", name, err, said, server)
		}
	}
	run("initdb", "-D", dir+"/data", "-U", "postgres", "-A", "trust", "-E", "UTF8", "--locale=C", "-N")
	options := []string{"listen_addresses=''", "-k " + dir, "fsync=off", "synchronous_commit=off", "full_page_writes=off", "jit=off"}
	back = func() {
		t.Helper()
		run("pg_ctl", "-D", dir+"/data", "-w", "-s", "-l", dir+"/log", "-o", "-c "+options[0]+" "+options[1]+" -c "+strings.Join(options[2:], " -c "), "start")
	}
	lose = func() {
		t.Helper()
		run("pg_ctl", "-D", dir+"/data", "-m", "immediate", "-w", "-s", "stop")
	}
	back()
	t.Cleanup(func() {
		c := exec.Command(filepath.Join(bin, "pg_ctl"), "-D", dir+"/data", "-m", "immediate", "-s", "stop")
		c.Dir, c.SysProcAttr = dir, attr
		if err := c.Run(); err != nil {
			t.Log("stopping PostgreSQL: ", err)
		}
	})
	run("psql", "-h", dir, "-U", "postgres", "-qc", "create extension postgis", "postgres")
	return "host=" + dir + " user=postgres dbname=postgres sslmode=disable", lose, back
}
