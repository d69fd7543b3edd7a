package slack

import "time"

type homes struct{}

func (h *homes) init()    { _ = time.Now }
func (h *homes) changed() {}
