package main

import (
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"flag"
	"io"
	"math/big"
	"net"
	"net/http"
	"net/http/cookiejar"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"nodespan/api"
	"nodespan/assess"
	"nodespan/assess/store"
)

// A flag stands above the environment, that above the file, that above the
// default; a misspelt option in any of them is told.
func TestWhatServeIsTold(t *testing.T) {
	file := filepath.Join(t.TempDir(), "nodespan.conf")
	write := func(text string) {
		t.Helper()
		if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	parse := func(args ...string) (serveFlags, error) {
		var f serveFlags
		fs := flag.NewFlagSet("serve", flag.ContinueOnError)
		fs.SetOutput(io.Discard)
		err := f.parse(fs, args)
		return f, err
	}
	write("# comment\nqueue 11\nworkers 3\ndata from-file\nlog json\n")
	t.Setenv("NODESPAN_QUEUE", "22")
	t.Setenv("NODESPAN_WORKERS", "4")
	t.Setenv("NODESPAN_UPLOAD_MB", "12")
	f, err := parse("--config", file, "--queue", "33")
	if err != nil {
		t.Fatal(err)
	}
	if f.queue != 33 || f.workers != 4 || f.data != "from-file" || f.logAs != "json" || f.uploadMB != 12 || f.address != defaultAddress {
		t.Errorf("%+v", f)
	}
	write("no-such-option 1\n")
	if _, err := parse("--config", file); err == nil {
		t.Error("a misspelt option in the file passed")
	}
	if _, err := parse("--no-such-option"); err == nil {
		t.Error("a misspelt flag passed")
	}
	for _, bad := range []serveFlags{{cert: "a"}, {key: "a"}, {proxies: "nonsense"}, {proxies: "10.0.0.0/99"}} {
		if _, err := bad.access(); assess.ErrorCode(err) != assess.EInvalid {
			t.Errorf("%+v: %v, want a refusal", bad, err)
		}
	}
	a, err := serveFlags{origin: "https://vines.example/", proxies: "127.0.0.1, 10.1.0.0/24"}.access()
	if err != nil || a.Origin != "https://vines.example" || len(a.Proxies) != 2 || a.Check(":80") != nil {
		t.Errorf("%+v, %v", a, err)
	}
}

// selfSigned writes a certificate for 127.0.0.1 and its key.
func selfSigned(t *testing.T) (cert, key string) {
	t.Helper()
	k, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	c := &x509.Certificate{SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "test"}, NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour), IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}}
	der, err := x509.CreateCertificate(rand.Reader, c, c, &k.PublicKey, k)
	if err != nil {
		t.Fatal(err)
	}
	kd, err := x509.MarshalPKCS8PrivateKey(k)
	if err != nil {
		t.Fatal(err)
	}
	cert, key = filepath.Join(t.TempDir(), "cert.pem"), filepath.Join(t.TempDir(), "key.pem")
	for path, b := range map[string]*pem.Block{cert: {Type: "CERTIFICATE", Bytes: der}, key: {Type: "PRIVATE KEY", Bytes: kd}} {
		if err := os.WriteFile(path, pem.EncodeToMemory(b), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return cert, key
}

// A whole service with a certificate: the link makes the first account over
// https, its cookie is bound to the host, and a stop ends it within seconds.
func TestServeTLS(t *testing.T) {
	cert, key := selfSigned(t)
	probe, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	address := probe.Addr().String()
	probe.Close()
	data := filepath.Join(t.TempDir(), "data")
	f := serveFlags{address: address, data: data, cert: cert, key: key, logAs: "text", within: true}
	access, err := f.access()
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- serve(ctx, f, access) }()
	jar, err := cookiejar.New(nil)
	if err != nil {
		t.Fatal(err)
	}
	client := &http.Client{Jar: jar, Transport: &http.Transport{TLSClientConfig: &tls.Config{InsecureSkipVerify: true}}} // its certificate is its own
	get := func(path string) (*http.Response, error) { return client.Get("https://" + address + path) }
	for deadline := time.Now().Add(20 * time.Second); ; time.Sleep(50 * time.Millisecond) {
		a, err := get("/readyz")
		if err == nil {
			a.Body.Close()
			if a.StatusCode == http.StatusOK {
				break
			}
		}
		if time.Now().After(deadline) {
			t.Fatal("the service did not come up: ", err)
		}
	}
	link, err := linkFor(t.Context(), data, "", "", api.Manager)
	if err != nil {
		t.Fatal(err)
	}
	q, err := http.NewRequest("POST", "https://"+address+"/api/join", strings.NewReader(`{"secret":"`+strings.TrimPrefix(link, "/join/")+`","name":"Ada","password":"four canes two wires"}`))
	if err != nil {
		t.Fatal(err)
	}
	q.Header.Set("Origin", "https://"+address)
	q.Header.Set("X-Nodespan", "1")
	a, err := client.Do(q)
	if err != nil {
		t.Fatal(err)
	}
	a.Body.Close()
	cookies := a.Cookies()
	if a.StatusCode != http.StatusCreated || len(cookies) != 1 || cookies[0].Name != "__Host-nodespan_session" || !cookies[0].Secure || !cookies[0].HttpOnly {
		t.Errorf("%d, cookies %+v", a.StatusCode, cookies)
	}
	if a.Header.Get("Strict-Transport-Security") == "" {
		t.Error("browsers aren't told to come by https alone")
	}
	page, err := get("/")
	if err != nil || page.StatusCode != http.StatusOK {
		t.Errorf("the start page: %v %v", page, err)
	}
	page.Body.Close()
	began := time.Now()
	stop()
	select {
	case err := <-ended:
		if err != nil || time.Since(began) > 8*time.Second {
			t.Errorf("stopping took %v: %v", time.Since(began), err)
		}
	case <-time.After(20 * time.Second):
		t.Fatal("the service doesn't stop")
	}
}

// The commands that keep a record, on one that is there and on one that isn't.
func TestKeepingCommands(t *testing.T) {
	base := t.TempDir()
	data := filepath.Join(base, "data")
	ctx := t.Context()
	if got := runCheck(ctx, []string{"--data", data}); got != exitError {
		t.Errorf("check of nothing: status %d", got)
	}
	if _, err := os.Stat(data); err == nil {
		t.Error("check made a record")
	}
	s, err := store.Open(ctx, data)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close() // open all the while, as by a service
	b, err := api.NewBlock("b", 2, 2, false, "two-cane", assess.DefaultRuleSet(), "Ada")
	if err != nil {
		t.Fatal(err)
	}
	if b, err = s.AddBlock(ctx, b); err != nil {
		t.Fatal(err)
	}
	if _, _, err := s.AddPhoto(ctx, store.NewPhoto{Data: []byte("x"), BlockID: b.ID, Row: 1, Number: 1, Winter: "2026/27", By: "Ada"}); err != nil {
		t.Fatal(err)
	}
	file, again := filepath.Join(base, "b.tar"), filepath.Join(base, "again")
	for _, c := range []struct {
		name string
		run  func(context.Context, []string) int
		args []string
		want int
	}{
		{"backup", runBackup, []string{"--data", data, file}, exitOK},
		{"backup over a file", runBackup, []string{"--data", data, file}, exitUsage},
		{"backup to nowhere", runBackup, []string{"--data", data, filepath.Join(base, "no", "such", "b.tar")}, exitError},
		{"backup without a file", runBackup, []string{"--data", data}, exitUsage},
		{"restore", runRestore, []string{"--data", again, file}, exitOK},
		{"restore over a folder", runRestore, []string{"--data", again, file}, exitError},
		{"restore of nothing", runRestore, []string{"--data", filepath.Join(base, "x"), "no such file"}, exitError},
		{"check", runCheck, []string{"--data", again}, exitOK},
		{"purge, dry", runPurge, []string{"--data", again}, exitOK},
		{"purge", runPurge, []string{"--data", again, "--yes", "--older-than", "0s"}, exitOK},
		{"link to a role that isn't one", runLink, []string{"--data", again, "--role", "owner"}, exitError},
		{"link for nobody", runLink, []string{"--data", again, "--account", "Nobody"}, exitError},
		{"close nobody", runClose, []string{"--data", again, "--account", "Nobody"}, exitError},
		{"close without a name", runClose, []string{"--data", again}, exitUsage},
		{"link", runLink, []string{"--data", again}, exitOK},
	} {
		if got := c.run(ctx, c.args); got != c.want {
			t.Errorf("%s: status %d, want %d", c.name, got, c.want)
		}
	}
	if err := os.RemoveAll(filepath.Join(again, "photos")); err != nil {
		t.Fatal(err)
	}
	if got := runCheck(ctx, []string{"--data", again}); got != exitError {
		t.Errorf("check of a record without its photos: status %d", got)
	}
}

// The address that is told can be opened: not one that stands for all of the
// machine's.
func TestOpenable(t *testing.T) {
	for text, want := range map[string]string{"[::]:8417": "localhost:8417", "0.0.0.0:443": "localhost:443", "127.0.0.1:8417": "127.0.0.1:8417", "[::1]:80": "[::1]:80", "10.1.2.3:443": "10.1.2.3:443"} {
		a, err := net.ResolveTCPAddr("tcp", text)
		if err != nil {
			t.Fatal(err)
		}
		if got := openable(a); got != want {
			t.Errorf("%s: %s, want %s", text, got, want)
		}
	}
}
