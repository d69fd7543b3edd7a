package homeserver

import (
	"os/exec"
	"syscall"
)

// endWithUs has the kernel end the command when a test binary is killed or
// panics and so never comes to its cleanup.
func endWithUs(cmd *exec.Cmd) {
	cmd.SysProcAttr = &syscall.SysProcAttr{Pdeathsig: syscall.SIGKILL}
}
