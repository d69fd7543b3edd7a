package slack

import "milepost/flow/words"

// say finds a sentence of the catalogue: what is shown beside a job's own words.
func say(key string, args words.Args) string { return words.Default().Say(key, false, args) }
