package slack

import "time"

// times are pauses, shorter in tests.
type times struct {
	settle   time.Duration // a message waits so long for an older one of its thread
	unsure   time.Duration // and so long where an older one may well be on its way
	gap      time.Duration // without a connection: then it is looked for what was missed
	overlap  time.Duration // read again before the gap: what was on its way then
	parents  time.Duration // and messages so old, below which people may have written since
	between  time.Duration // looks for what was missed are at least so far apart
	retry    time.Duration // first pause before a message is tried again
	most     time.Duration // longest one
	again    time.Duration // first pause before a post is changed again
	alive    time.Duration // how often it is noted that we hear
	silence  time.Duration // over HTTP: after such a silence it is looked for what was missed
	slowly   time.Duration // over HTTP: and as often as this, whatever comes
	paced    time.Duration // pause between the calls of a look that nobody waits for
	grace    time.Duration // a connection may be away so long before we are not ready
	prune    time.Duration // how often what is old is forgotten
	withheld time.Duration // so long Slack may withhold events after it says so
	backoff  time.Duration // longest pause before a connection is tried again
	renewal  time.Duration // connections that brought nothing follow one another no faster, after a few
}

func usualTimes() times {
	return times{
		settle: 40 * time.Millisecond, unsure: 100 * time.Millisecond,
		gap: 2 * time.Second, overlap: 10 * time.Minute, parents: 24 * time.Hour, between: 20 * time.Second,
		silence: 10 * time.Minute, slowly: 15 * time.Minute, paced: 1500 * time.Millisecond,
		retry: 200 * time.Millisecond, most: 20 * time.Second, again: time.Second, alive: 15 * time.Second,
		grace: time.Second, prune: 6 * time.Hour, backoff: 15 * time.Second,
		renewal: 5 * time.Second, withheld: time.Minute + 15*time.Second,
	}
}
