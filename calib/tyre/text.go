package tyre

import (
	"strings"

	"milepost/calib/unit"
)

// canonical spells the size the way the package reads back to the same Size.
func (s Size) canonical() string {
	var b strings.Builder
	joint := s.joint()
	if s.Flotation {
		b.WriteString(figure(s.OverallIn) + "x" + hundredths(s.SectionIn) + joint + figure(s.RimIn) + s.Prefix)
	} else {
		rimSize := s.RimIn
		if s.RimMM > 0 {
			rimSize = s.RimMM
		}
		b.WriteString(s.Prefix + figure(s.SectionMM) + "/" + figure(s.Aspect) + joint + figure(rimSize))
	}
	if s.Commercial {
		b.WriteString("C")
	}
	if s.Alternate != "" {
		b.WriteString(" (" + s.Alternate + ")")
	}
	if s.LoadIndex != "" && s.SpeedSymbol != "" {
		b.WriteString(" " + s.service())
	}
	if s.LoadRange != "" {
		b.WriteString(" " + s.loadRange())
	}
	if s.RunFlat && !strings.HasSuffix(joint, "F") {
		b.WriteString(" RFT")
	}
	if s.LoadIndex != "" && s.SpeedSymbol == "" { // read only at the end
		b.WriteString(" " + s.LoadIndex)
	}
	return b.String()
}

// joint is what stands before the rim. An unknown construction stays unsaid.
func (s Size) joint() string {
	switch s.Construction {
	case "R", "ZR":
		text := s.Construction
		if s.LoadIndex == "" {
			text = s.SpeedSymbol + text
		}
		if s.RunFlat {
			text += "F"
		}
		return text
	case "D":
		if s.Flotation {
			return "-"
		}
		return "D"
	case "B":
		return "B"
	}
	return " "
}

func (s Size) service() string {
	if strings.HasPrefix(s.SpeedSymbol, "(") {
		return "(" + s.LoadIndex + strings.Trim(s.SpeedSymbol, "()") + ")"
	}
	return s.LoadIndex + s.SpeedSymbol
}

func (s Size) loadRange() string {
	if len(s.LoadRange) == 1 {
		return "LR " + s.LoadRange
	}
	return s.LoadRange
}

// figure prints a size figure without needless decimals: 17, 22.5.
func figure(v float64) string {
	decimals := 0
	for decimals < 2 && unit.RoundTo(v, decimals) != v {
		decimals++
	}
	return unit.Figure(v, decimals)
}

// hundredths prints an inch width as tyres are marked: 12.50.
func hundredths(v float64) string { return unit.Figure(v, 2) }
