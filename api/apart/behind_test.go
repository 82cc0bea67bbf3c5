//go:build linux

package apart

import (
	"bytes"
	"image"
	"image/png"
	"io"
	"os"
	"os/exec"
	"testing"
)

// A service that runs behind other programs (nice), for a user without rights,
// still has its photos decoded: a process can't come forward again.
func TestBehindOthers(t *testing.T) {
	if withRaceDetector {
		t.Skip("its address space can't be bounded")
	}
	for _, name := range []string{"nice", "setpriv"} {
		if _, err := exec.LookPath(name); err != nil {
			t.Skip("NO " + name + ": A SERVICE BEHIND OTHERS WAS NOT TESTED")
		}
	}
	// Where another user may start it.
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	from, err := os.Open(self)
	if err != nil {
		t.Fatal(err)
	}
	defer from.Close()
	to, err := os.CreateTemp("", "one-photo-")
	if err != nil {
		t.Fatal(err)
	}
	defer os.Remove(to.Name())
	if _, err := io.Copy(to, from); err != nil {
		t.Fatal(err)
	}
	if err := to.Chmod(0o755); err != nil {
		t.Fatal(err)
	}
	if err := to.Close(); err != nil {
		t.Fatal(err)
	}
	command := []string{"nice", "-n", "12", to.Name(), asProcess}
	if os.Getuid() == 0 {
		command = append([]string{"setpriv", "--reuid=65534", "--regid=65534", "--clear-groups"}, command...)
	}
	var photo bytes.Buffer
	if err := png.Encode(&photo, image.NewGray(image.Rect(0, 0, 8, 8))); err != nil {
		t.Fatal(err)
	}
	if err := (&Runner{Command: command}).Check(t.Context(), photo.Bytes()); err != nil {
		t.Error(err)
	}
}
