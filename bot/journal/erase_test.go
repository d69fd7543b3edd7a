package journal

import (
	"bytes"
	"errors"
	"strings"
	"testing"
)

var someIDs = []ItemID{{"7q3k9x", 40, "file.name"}, {"7q3k9x", 12, "text"}, {"7q3k9x", 9, "a/b"}, {"7q3k9x", 12, "text"}, {"m02vd8", 1, "name"}}

const someList = `milepost erased items 1
7q3k9x/9/a/b
7q3k9x/12/text
7q3k9x/40/file.name
m02vd8/1/name
end 4
`

func TestErasedList(t *testing.T) {
	var b bytes.Buffer
	if err := WriteErased(&b, someIDs); err != nil || b.String() != someList {
		t.Fatalf("list is (%v)\n%s", err, &b)
	}
	ids := must(ReadErased(strings.NewReader(someList)))(t)
	if len(ids) != 4 || ids[0] != someIDs[2] || ids[3] != someIDs[4] {
		t.Errorf("read %v", ids)
	}
	var empty bytes.Buffer
	if err := WriteErased(&empty, nil); err != nil || len(must(ReadErased(&empty))(t)) != 0 {
		t.Error("the empty list does not come back")
	}
	if err := WriteErased(&b, []ItemID{{"j", 1, "a\nb"}}); err == nil {
		t.Error("a label with a line break is written")
	}
}

// Every cut of the list, and every change of a line, is seen.
func TestErasedListCut(t *testing.T) {
	for n := range len(someList) - 1 { // the last line break alone says nothing
		if ids, err := ReadErased(strings.NewReader(someList[:n])); err == nil {
			t.Errorf("cut to %d bytes it reads %v", n, ids)
		}
	}
	for _, change := range [][2]string{{"items 1", "items 2"}, {"end 4", "end 3"}, {"end 4", "end 04"}, {"/12/", "/012/"}, {"/12/", "/8/"}, {"/12/", "/0/"},
		{"end 4\n", "end 4\nend 4\n"}, {"7q3k9x/12/text\n", ""}, {"7q3k9x/12/text\n", "text\n"}, {"7q3k9x/12/text\n", "7q3k9x/12/\n"}} {
		if ids, err := ReadErased(strings.NewReader(strings.Replace(someList, change[0], change[1], 1))); err == nil {
			t.Errorf("%q for %q: reads %v", change[1], change[0], ids)
		}
	}
}

func TestErasure(t *testing.T) {
	e := Erasure{By: "p4821", Why: "request", Items: someIDs}
	data := must(e.Data())(t)
	if string(data) != `{"by":"p4821","items":["7q3k9x/9/a/b","7q3k9x/12/text","7q3k9x/40/file.name","m02vd8/1/name"],"why":"request"}` {
		t.Errorf("data is %s", data)
	}
	back := must(ParseErasure(data))(t)
	if back.By != "p4821" || back.Why != "request" || len(back.Items) != 4 {
		t.Errorf("came back as %+v", back)
	}
	l := goodLeaf()
	l.Kind, l.Data = KindErased, data
	must(l.Bytes())(t)
	for _, e := range []Erasure{{Why: ""}, {Why: "because Pat asked"}, {Why: "request", By: "Pat Smith"}, {Why: "request", Items: []ItemID{{}}}} {
		if d, err := e.Data(); err == nil {
			t.Errorf("%+v is %s", e, d)
		}
	}
	for _, d := range []string{"", "[]", `{"items":["x"]}`, `{"items":["j/1/"]}`} {
		if e, err := ParseErasure([]byte(d)); err == nil {
			t.Errorf("%s is %+v", d, e)
		}
	}
}

func TestEraseAgain(t *testing.T) {
	again := must(EraseAgain(someIDs, func(id ItemID) (bool, error) { return id.Seq > 9, nil }))(t)
	if len(again) != 2 || again[0] != someIDs[1] || again[1] != someIDs[0] {
		t.Errorf("erase again: %v", again)
	}
	if _, err := EraseAgain(someIDs, func(ItemID) (bool, error) { return false, errors.New("disk") }); err == nil {
		t.Error("an error is lost")
	}
}

func FuzzReadErased(f *testing.F) {
	f.Add(someList)
	f.Fuzz(func(t *testing.T, s string) {
		ids, err := ReadErased(strings.NewReader(s))
		if err != nil {
			return
		}
		var b bytes.Buffer
		if err := WriteErased(&b, ids); err != nil {
			t.Fatalf("%q read as %v: %v", s, ids, err)
		}
		if again, err := ReadErased(&b); err != nil || len(again) != len(ids) {
			t.Fatalf("%q read as %v, then %v (%v)", s, ids, again, err)
		}
	})
}
