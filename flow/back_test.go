package flow

import "testing"

// From the first write on, back puts no question again that has had its time:
// the place stays, and what is typed next is still understood.
func TestBackKeepsThePlace(t *testing.T) {
	for name, c := range map[string]struct {
		lines []string
		asks  QuestionID
		next  string
		then  QuestionID
	}{
		"written":      {[]string{"write"}, QWritten, "took", QReadBack},
		"read back":    {[]string{"write", "took"}, QReadBack, "2596", QCodesNow},
		"codes":        {[]string{"write", "took", "2596"}, QCodesNow, "none", QDrive},
		"check drive":  {[]string{"write", "took", "2596", "none"}, QDrive, "65/65 60/60 50/50", QCodesNow},
		"after it":     {[]string{"write", "2596", "none", "65/65 60/60 50/50"}, QCodesNow, "none", QNext},
		"done":         {[]string{"write", "2596", "none", "65/65 60/60 50/50", "none"}, QNext, "close", QClosing},
		"drive first":  {[]string{"drive first"}, QDrive, "61/65 56/60 47/50", QCodesNow},
		"broke off":    {[]string{"write", "broke off"}, QWritten, "took", QReadBack},
		"silent":       {[]string{"write", "no answer"}, QWritten, "took", QReadBack},
		"odometer":     {[]string{"write", "2596", "none", "recover"}, QOdoNow, "48210", QWritten},
		"new code":     {[]string{"write", "2596", "P0500"}, QNewCodes, "go on", QDrive},
		"second write": {[]string{"write", "took", "2438"}, QWritten, "2596", QCodesNow},
	} {
		t.Run(name, func(t *testing.T) {
			p := bay(t, Policy{}).lines(c.lines...).asks(c.asks)
			p.lines("back").asks(c.asks).lines("undo").asks(c.asks).lines("change my answer").asks(c.asks)
			p.lines("change my answer to took").asks(c.asks).lines(c.next).asks(c.then)
		})
	}
}

// On the road nothing is put at all.
func TestBackOnTheRoad(t *testing.T) {
	p := bay(t, Policy{}).lines("drive first", "go", "61/65", "back").said("parked")
	p.lines("57/59", "48/50", "parked none")
	if p.s.Phase != PhaseReview && p.s.Phase != PhaseChange || p.s.readingsOn(1) != 3 {
		t.Errorf("%s with %d readings", p.s.Phase, p.s.readingsOn(1))
	}
}

// A refusal said by mistake can be taken back, from the question why.
func TestBackFromRefused(t *testing.T) {
	p := written(t, Policy{}).lines("refused").asks(QRefused).lines("back").asks(QWritten).said("One change: 2438 to 2596")
	p.lines("took", "2596").asks(QCodesNow)
}

// A line of the checklist is put again only while one is open, and no "no" said
// of something else is one to it.
func TestBackToALine(t *testing.T) {
	p := playFrom(t, Policy{}).lines("new job v, bay, 100 mi", "no", "all yes but 1 13.5", "no", "airbag lamp").at(PhaseFactory)
	p.lines("265/70R17 116T 2446 mm step 1").asks(QOnly)
	for range 4 {
		if p.lines("back"); p.s.Asked.Question == QLine {
			t.Error("a line that nobody asks about was put again")
		}
	}
	q := bay(t, Policy{}, &AnswerFact{Question: QLine, About: "1", Value: "no"}).lines("drive first").asks(QDrive)
	if q.s.amendsFrom(QLine) {
		t.Error("a drive's number would name a line")
	}
}

// What is asked again while no question is open is tried all the same.
func TestChangeMyAnswerUnasked(t *testing.T) {
	p := bay(t, Policy{}).lines("write")
	p.s.Asked = nil
	p.entries = nil
	if _, err := Step(p.s, Message{Who: "1", Role: Technician, Text: "change my answer to took"}, p.env); err != nil {
		t.Error(err)
	}
}

// A customer who waits for a release is led past it by no way back.
func TestBackPastNoHold(t *testing.T) {
	p := home(t, Policy{}).asks(QHold).as("1", Customer).lines("back").asks(QHold).lines("it worked").asks(QHold)
	if p.s.Writing.Word != "begun" {
		t.Errorf("%+v", p.s.Writing)
	}
}
