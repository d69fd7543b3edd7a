package bot

import (
	"strings"

	"milepost/flow"
)

// maxName bounds what a person is called, in bytes.
const maxName = 100

// configured gives the role that a person holds by configuration or, in a
// single-user store, as stated. "" is nobody's: a guest or a stranger. Nothing a
// person says has any part in it.
func (b *Bot) configured(s *shop, in *Inbound) flow.Role {
	if b.cfg.Single && in.Stated != "" {
		return known(in.Stated)
	}
	if r, ok := s.cfg.People[in.From]; ok {
		return known(r)
	}
	switch r := s.cfg.Rooms[in.Room]; {
	case in.Room == "":
	case r == flow.Technician, r == flow.Customer:
		return r // a room as a whole gives no more than these
	}
	return ""
}

// known is the role if it is one, else Stranger: a role mistyped grants nothing.
func known(r flow.Role) flow.Role {
	switch r {
	case flow.Technician, flow.Customer, flow.Helper, flow.Supervisor:
		return r
	}
	return flow.Stranger
}

// standing is who a person is in a job.
type standing struct {
	who  flow.Who
	role flow.Role
	join *flow.Person // to be recorded: speaks for the first time, or in a new role
	used string       // hash of the guest code that is used up by it
}

// standing finds who a person is in a job and what role he holds now. Roles are
// judged when the message arrives, whatever was held before.
func (b *Bot) standing(v *visit, l *lane) (standing, error) {
	var st standing
	before, _ := personOf(l.state, v.in.From)
	st.who = before.Who
	st.role = v.role
	byCode := false
	switch {
	case st.role == flow.Customer && v.codeHash != "" && b.unused(l.state, v.codeHash):
		st.used, byCode = v.codeHash, true
	case st.role != "":
	case before.ByCode:
		st.role, byCode = flow.Customer, true
	case v.codeHash != "" && b.unused(l.state, v.codeHash):
		st.role, st.used, byCode = flow.Customer, v.codeHash, true
	default:
		st.role = flow.Stranger
	}
	if st.role == flow.Customer && !byCode && !b.belongs(v, l, before) {
		st.role = flow.Stranger // another customer's job
	}
	if st.role == flow.Stranger {
		return st, nil
	}
	if st.who != "" && before.Role == st.role {
		return st, nil
	}
	if st.who == "" {
		n, err := b.newWho(l.state)
		if err != nil {
			return st, err
		}
		st.who = n
	}
	st.join = &flow.Person{Who: st.who, Role: st.role, Identity: string(v.in.From), Name: v.in.Name,
		Stated: b.cfg.Single && v.in.Stated != "", ByCode: byCode}
	return st, nil
}

// belongs says whether a customer may speak in a job: a new one, one already
// spoken in, or one that lives in the thread written in.
func (b *Bot) belongs(v *visit, l *lane, before flow.Person) bool {
	if l.state.Seq == 0 || before.Who != "" || b.cfg.Single {
		return true
	}
	for _, t := range l.threads {
		if t.Network == v.in.Network && t.Thread == v.in.Thread && v.in.Thread != "" {
			return true
		}
	}
	return false
}

// unused says whether a job has given out this code and nobody has used it.
func (b *Bot) unused(s *flow.State, hash string) bool {
	for _, i := range s.Invites {
		if i.Hash == hash {
			return !i.Used
		}
	}
	return false
}

// personOf finds an identity among a job's people.
func personOf(s *flow.State, id Identity) (flow.Person, bool) {
	for _, p := range s.People {
		if p.Identity != "" && p.Identity == string(id) {
			return p, true
		}
	}
	return flow.Person{}, false
}

// newWho draws a number for a person, random for each job.
func (b *Bot) newWho(s *flow.State) (flow.Who, error) {
	for {
		n, err := draw(b.cfg.Random, 6)
		if err != nil {
			return "", err
		}
		if _, taken := s.People[flow.Who(n)]; !taken {
			return flow.Who(n), nil
		}
	}
}

// others names the helpers and supervisors who could be called in a job.
func others(s *flow.State, but flow.Who) map[flow.Role][]flow.Who {
	m := map[flow.Role][]flow.Who{}
	for w, p := range s.People {
		if w != but && (p.Role == flow.Helper || p.Role == flow.Supervisor) {
			m[p.Role] = append(m[p.Role], w)
		}
	}
	for _, ws := range m {
		sortWho(ws)
	}
	return m
}

// callName is what a person is called on this network, else the last part of
// the identity; short, without line ends.
func callName(in *Inbound) string {
	n := strings.Join(strings.Fields(in.Name), " ")
	if n == "" {
		n = string(in.From)
		if i := strings.IndexByte(n, ':'); i >= 0 {
			n = n[i+1:]
		}
	}
	if len(n) > maxName {
		n = strings.ToValidUTF8(n[:maxName], "")
	}
	return n
}
