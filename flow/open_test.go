package flow

import "testing"

// A greeting is answered by the first question, not by a complaint.
func TestGreeting(t *testing.T) {
	for _, hello := range []string{"hello", "hi there", "good morning!"} {
		p := playFrom(t, Policy{}).as("1", Customer)
		p.step(Message{Text: hello, Join: &Person{Who: "1", Role: Customer, Name: "Ann"}})
		p.at(PhaseOpen).asks(QVehicle).said("What vehicle is it")
		p.lines("our blue van").asks(QPlace)
	}
}
