package api

import (
	"archive/tar"
	"compress/gzip"
	"context"
	"crypto/sha512"
	"encoding/base64"
	"errors"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"sync"
	"testing"
	"time"
)

// axe-core, by Deque Systems (MPL-2.0), holds pages against the published rules
// of WCAG. It's fetched by npm for the tests alone, once for a machine, and
// taken only when its bytes are those that npm's registry states.
const (
	axeVersion   = "4.14.1"
	axeIntegrity = "sha512-FHfa+lmNjQZfJz1q8wKqIDwC6DExcHt/pkjNQb09a3NPjCKg2rhu5qb2S4r76ASyFNNtuFooJpZe37OgudVGtQ=="
)

var axeOnce = sync.OnceValues(fetchAxe)

// axe gives axe-core's script. Where it can't be had the test is skipped, with
// a loud word: the machine may have no npm, or no network.
func axe(t *testing.T) string {
	t.Helper()
	script, err := axeOnce()
	if err != nil {
		t.Skipf("NO AXE-CORE: THE PAGES WERE NOT HELD AGAINST WCAG. Install npm and allow it its registry, or put the package as %s into the folder that NODESPAN_AXE names. (%v)", axePackage, err)
	}
	return script
}

const axePackage = "axe-core-" + axeVersion + ".tgz"

func fetchAxe() (string, error) {
	folder := os.Getenv("NODESPAN_AXE")
	if folder == "" {
		cache, err := os.UserCacheDir()
		if err != nil {
			return "", err
		}
		folder = filepath.Join(cache, "nodespan-tests")
		if err := os.MkdirAll(folder, 0o750); err != nil {
			return "", err
		}
	}
	file := filepath.Join(folder, axePackage)
	if script, err := readAxe(file); err == nil {
		return script, nil
	}
	npm, err := exec.LookPath("npm")
	if err != nil {
		return "", err
	}
	ctx, cancel := context.WithTimeout(context.Background(), 2*time.Minute)
	defer cancel()
	c := exec.CommandContext(ctx, npm, "pack", "axe-core@"+axeVersion, "--silent", "--pack-destination", folder)
	c.Dir = folder
	if out, err := c.CombinedOutput(); err != nil {
		return "", errors.Join(err, errors.New(string(out)))
	}
	return readAxe(file)
}

// readAxe reads the script out of the package, when its bytes are the right
// ones.
func readAxe(file string) (string, error) {
	f, err := os.Open(file)
	if err != nil {
		return "", err
	}
	defer f.Close()
	sum := sha512.New()
	z, err := gzip.NewReader(io.TeeReader(f, sum))
	if err != nil {
		return "", err
	}
	script := ""
	for r := tar.NewReader(z); ; {
		h, err := r.Next()
		if err == io.EOF {
			break
		}
		if err != nil {
			return "", err
		}
		if h.Name == "package/axe.min.js" {
			data, err := io.ReadAll(io.LimitReader(r, 8<<20))
			if err != nil {
				return "", err
			}
			script = string(data)
		}
	}
	if _, err := io.Copy(io.Discard, io.TeeReader(f, sum)); err != nil {
		return "", err
	}
	if got := "sha512-" + base64.StdEncoding.EncodeToString(sum.Sum(nil)); got != axeIntegrity || script == "" {
		return "", errors.New(file + " isn't the package that was meant: " + got)
	}
	return script, nil
}
