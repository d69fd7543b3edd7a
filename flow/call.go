package flow

import (
	"slices"
	"strings"

	"milepost/flow/words"
)

// A call reaches those of a role who are in the job or read its threads; where
// nobody does, the shop's room of alerts; and whoever calls is told which of it
// was done. A write that broke off relies on it.

// alertRoom stands in the place of a role where the shop's room of alerts was told.
const alertRoom Role = "alerts"

// here gives those of a role who can be called though they have not spoken.
func (t *turn) here(r Role) (ps []Person) {
	for _, p := range t.env.Here {
		if _, in := t.s.People[p.Who]; !in && p.Role == r {
			ps = append(ps, p)
		}
	}
	return ps
}

// reaches says whether there is anyone of a role to put something to.
func (t *turn) reaches(r Role) bool {
	return len(t.addressed(r))+len(t.env.Others[r])+len(t.here(r)) > 0
}

// bring takes somebody into the job who has not spoken in it.
func (t *turn) bring(p Person) {
	t.record(&PersonFact{Who: p.Who, Role: p.Role, Called: true}, Item{ItemIdentity, p.Identity}, Item{ItemName, p.Name})
}

// muster takes those of a role into the job who read its threads, and gives all
// of the role but the one who speaks.
func (t *turn) muster(r Role) []Who {
	for _, p := range t.here(r) {
		t.bring(p)
	}
	return slices.DeleteFunc(t.addressed(r), func(w Who) bool { return w == t.m.Who })
}

// summon calls a role for something. It gives who was told: the role, alertRoom,
// or "" for nobody.
func (t *turn) summon(what string, r Role, key string, args words.Args) Role {
	to := t.muster(r)
	f := &AlertFact{What: what, To: r, Told: len(to) > 0}
	f.Room = !f.Told && t.env.Alerts[r]
	t.record(f)
	switch {
	case f.Told:
		t.post(Notice, r, to, t.text(r, key, args), key, nil, 0)
		return r
	case f.Room:
		t.post(Notice, r, nil, t.text(r, key, args), key, nil, 0)
		return alertRoom
	}
	return ""
}

// callSupervisor calls for a supervisor, and for the helper where there is none.
// A customer's helper is called first, and with him the supervisor.
func (t *turn) callSupervisor(_ command, _ *input) bool {
	if t.m.Role == Customer {
		return t.alert(true, Helper, Supervisor)
	}
	return t.alert(false, Supervisor, Helper)
}

// callHelper calls for the helper, and for the supervisor where there is none.
func (t *turn) callHelper(_ command, _ *input) bool {
	return t.alert(false, Helper, Supervisor)
}

// alert calls the first of some roles that anyone can be reached in, or each of
// them; where there is none, the room of alerts. It says what was done.
func (t *turn) alert(each bool, roles ...Role) bool {
	args := words.Args{"Name": t.nameOf(t.m.Who)}
	var told []string
	for _, r := range roles {
		if len(told) > 0 && !each || !t.elsewhere(r) && !(each && t.env.Alerts[r]) {
			continue
		}
		if t.summon(string(r), r, "alert."+string(r), args) == alertRoom {
			told = append(told, t.text(t.m.Role, "who.alerts", nil))
			continue
		}
		for _, w := range t.addressed(r) {
			if w != t.m.Who {
				told = append(told, t.nameOf(w))
			}
		}
	}
	key := "alert.called"
	if len(told) == 0 {
		r := roles[0]
		if i := slices.IndexFunc(roles, func(r Role) bool { return t.env.Alerts[r] }); i >= 0 {
			r = roles[i]
		}
		key = "alert.nobody"
		if t.summon(string(r), r, "alert."+string(r), args) == alertRoom {
			key = "alert.room"
		}
		args["Role"] = string(r)
	}
	args["Names"] = strings.Join(told, ", ")
	if !t.s.Driving() {
		t.answerTo(Notice, key, args)
	}
	t.again()
	return true
}

// elsewhere says whether anyone of a role but the one who speaks can be called.
func (t *turn) elsewhere(r Role) bool {
	return len(t.here(r)) > 0 || slices.ContainsFunc(t.addressed(r), func(w Who) bool { return w != t.m.Who })
}

// call alerts the helper at home, the supervisor everywhere, in words of its
// own; the card's flag and the board show it too.
func (t *turn) call(what string, args words.Args) {
	args["Name"] = t.nameOf(t.s.Owner)
	roles := []Role{Supervisor}
	if t.s.Home() || len(t.addressed(Helper)) > 0 || !t.elsewhere(Supervisor) && t.elsewhere(Helper) {
		roles = []Role{Helper, Supervisor}
	}
	echo := t.echo
	t.echo = nil
	for _, r := range roles {
		t.summon(what, r, "call."+what, args)
	}
	t.echo = echo
}

// toldWord names whoever was told when somebody was called for it last, "" where
// nobody was.
func (t *turn) toldWord(what string) string {
	if r := t.s.Told[what]; r != "" {
		return t.text(t.worker(), "who."+string(r), nil)
	}
	return ""
}

// person finds somebody by what he is called: who is in the job first, then who
// could be; by the whole name first, then by its first word if only one has it.
// "" is nobody, or not one alone.
func (t *turn) person(name string) Who {
	name = strings.TrimPrefix(name, "@")
	people := t.env.Here
	for _, p := range t.s.People {
		if p.Role != Stranger {
			people = append(people[:len(people):len(people)], p)
		}
	}
	for _, is := range []func(Person) bool{
		func(p Person) bool { return same(p.Name, name) && t.s.People[p.Who].Who != "" },
		func(p Person) bool { return same(p.Name, name) },
		func(p Person) bool { first, _, _ := strings.Cut(p.Name, " "); return same(first, name) },
	} {
		var found []Person
		for _, p := range people {
			if is(p) {
				found = append(found, p)
			}
		}
		if len(found) != 1 {
			continue
		}
		if _, in := t.s.People[found[0].Who]; !in {
			t.bring(found[0])
		}
		return found[0].Who
	}
	return ""
}
