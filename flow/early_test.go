package flow

import "testing"

// While a value written out of turn waits to be put back, figures of other
// answers are no read-back.
func TestUndoTakesOnlyAValue(t *testing.T) {
	early := func() *play {
		return backupAt(t).lines("go on", "wrote 2590 already").asks(QUndo)
	}
	for _, text := range []string{"285/70r17 121S 12/12 placard", "12/12", "35 psi", "285/75R17 121S"} {
		if p := early().lines(text); len(p.s.Changes) != 0 {
			t.Errorf("%q is read back: %+v", text, p.s.Changes)
		}
	}
	if p := early().lines("285/75R17 121S 12/12 placard"); p.s.Sizes["fitted"].Text == "" {
		t.Error("the size is not taken")
	}
	early().lines("2590").asks(QUndo).said("2590").lines("2438").asks(QBackup)
}

// "Not took" and a question about what may come are no word of the tool.
func TestNoWordOfTheTool(t *testing.T) {
	for _, text := range []string{"what if it fails", "what happens if it breaks off", "took?", "is it done"} {
		if p := bay(t, Policy{}).lines("write", text).asks(QWritten); p.s.Writing.Word != "begun" {
			t.Errorf("%q is %q", text, p.s.Writing.Word)
		}
	}
	if p := bay(t, Policy{}).lines("write", "not took"); p.s.Writing.Word != "refused" {
		t.Errorf("not took is %q", p.s.Writing.Word)
	}
}
