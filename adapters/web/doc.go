// Package web serves what watches over a running assistant: /healthz (it is
// alive), /readyz (its networks and its store can be used) and /metrics in the
// Prometheus text form. It has no pages and takes nothing in.
//
// A label names a network or an outcome, out of lists fixed at the start. No
// job, person or vehicle is ever one: figures are kept by others, for long, and
// erase reaches none of them.
package web
