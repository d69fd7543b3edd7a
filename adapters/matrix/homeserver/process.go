package homeserver

import (
	"os/exec"
	"runtime"
)

// process is a started command and how it ended.
type process struct {
	cmd  *exec.Cmd
	done chan struct{} // closed when it has ended
	err  error         // how, once done is closed
}

// launch starts a command that does not outlive us. Where the system sees to
// that, it does so for the thread that started it: so that one waits for it.
func launch(cmd *exec.Cmd) (*process, error) {
	endWithUs(cmd)
	p := &process{cmd: cmd, done: make(chan struct{})}
	started := make(chan error, 1)
	go func() {
		runtime.LockOSThread()
		defer runtime.UnlockOSThread()
		err := cmd.Start()
		started <- err
		if err == nil {
			p.err = cmd.Wait()
			close(p.done)
		}
	}()
	if err := <-started; err != nil {
		return nil, err
	}
	return p, nil
}

func (p *process) ended() bool {
	select {
	case <-p.done:
		return true
	default:
		return false
	}
}
