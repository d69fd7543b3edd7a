package bot

import (
	"context"
	"maps"
	"slices"
	"strconv"
	"strings"

	"milepost/flow"
	"milepost/flow/words"
)

// deskPolicy shows what is decided, or decides one thing.
func (b *Bot) deskPolicy(ctx context.Context, v *visit, text string) error {
	if !flow.May(v.role, flow.ActPolicy) {
		return b.deskSay(ctx, v, "policy", "", flow.Refusal, say("bot.denied", v.role, nil))
	}
	if text == "" {
		return b.deskSay(ctx, v, "policy", "", flow.Result, say("bot.policy", v.role, words.Args{"Policy": policyText(v.shop.policyNow())}))
	}
	if !v.shop.policyNow().Trusts(v.role, v.in.Trust) {
		return b.deskSay(ctx, v, "policy", "", flow.Refusal, say("refuse.device", v.role, nil))
	}
	name, value, _ := strings.Cut(text, " ")
	value = strings.TrimSpace(value)
	probe := v.shop.policyNow()
	if err := setPolicy(&probe, name, value); err != nil {
		var all []string
		for _, n := range policyNames {
			all = append(all, n.name)
		}
		return b.deskSay(ctx, v, "policy", "", flow.Refusal, say("bot.policy.bad", v.role, words.Args{"Names": strings.Join(all, ", ")}))
	}
	reply := flow.Reply{Kind: flow.Notice, Text: say("bot.policy.set", v.role, words.Args{"Name": name, "Value": value})}
	return b.deskEntry(ctx, v, kindPolicy, policyData{name, value}, reply, &Batch{}, "", func(s *shop) {
		s.decided[name] = value
		s.decide()
	})
}

// policyText shows a policy in one line.
func policyText(p flow.Policy) string {
	var holds []string
	for _, h := range p.Holds {
		holds = append(holds, strings.TrimSpace(h.What+" "+h.Place))
	}
	if len(holds) == 0 {
		holds = []string{"none"}
	}
	aim := p.Calib
	if aim == "" {
		aim = "by the rule"
	}
	m := map[string]string{"speed": p.Speed, "length": p.Length, "rule": p.Rule, "aim": aim, "sign-off": yes(p.SignOff),
		"self": yes(p.Self), "quiet": yes(p.Quiet), "idle": p.Idle.String(), "cap": capText(p), "hold": strings.Join(holds, " and ")}
	if p.Verified {
		m["verified devices"] = yes(true)
	}
	var parts []string
	for _, k := range slices.Sorted(maps.Keys(m)) {
		parts = append(parts, k+" "+m[k])
	}
	return strings.Join(parts, ", ")
}

// capText is the fastest true speed that is asked for.
func capText(p flow.Policy) string {
	if p.WorkSpeed == 0 {
		return "by the dash unit"
	}
	return strconv.FormatFloat(p.WorkSpeed, 'f', -1, 64)
}

func yes(b bool) string {
	if b {
		return "yes"
	}
	return "no"
}
