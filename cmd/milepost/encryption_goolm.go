//go:build goolm

package main

// hasEncryption says whether encrypted rooms are in this build.
const hasEncryption = true
