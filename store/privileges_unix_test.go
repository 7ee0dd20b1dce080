//go:build !windows

package store

import (
	"os"
	"os/exec"
	"syscall"
)

// nobody is the user id without rights that Linux and macOS use by custom.
const nobody = 65534

// dropPrivileges lets a command run as a user whom permissions bind.
func dropPrivileges(command *exec.Cmd) {
	if os.Geteuid() == 0 {
		command.SysProcAttr = &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: nobody, Gid: nobody}}
	}
}
