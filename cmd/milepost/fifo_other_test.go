//go:build !unix

package main

import "errors"

func makeFifo(string) error { return errors.ErrUnsupported }
