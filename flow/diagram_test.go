package flow

import (
	"os"
	"strings"
	"testing"
)

// The diagram in DEVELOPERS.md is the one that the table gives.
func TestDiagramIsCurrent(t *testing.T) {
	doc, err := os.ReadFile("../DEVELOPERS.md")
	if err != nil {
		t.Fatal(err)
	}
	d, err := Diagram()
	if err != nil {
		t.Fatal(err)
	}
	if want := "<!-- diagram -->\n```mermaid\n" + strings.TrimRight(d, "\n") + "\n```\n<!-- /diagram -->"; !strings.Contains(string(doc), want) {
		t.Errorf("put this between the marks in DEVELOPERS.md:\n%s", want)
	}
}
