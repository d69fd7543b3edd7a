package flow

import (
	"fmt"
	"strconv"
	"strings"
)

// Line is an entry in one readable line: its kind and what it recorded, without
// time, persons' numbers and words of people. For lists and tests; nothing reads
// it back.
func Line(e Entry) string {
	var l line
	l.word(string(e.Kind))
	switch f := e.Fact.(type) {
	case *PersonFact:
		l.word(string(f.Role))
		l.when(f.ByCode, "by code")
		l.when(f.Called, "called")
	case *HeardFact:
		l.word(f.What, f.Choice)
	case *SaidFact:
		l.word(string(f.What), f.Key)
	case *AskedFact:
		l.word(string(f.Question), f.About)
		l.field("to", string(f.To))
	case *PhaseFact:
		l.word(string(f.Phase))
		l.field("by", string(f.Event))
	case *AnswerFact:
		l.word(string(f.Question), f.About, f.Value)
		l.figure(f.Number, f.Unit)
		l.when(f.Skipped, "skipped")
		l.when(f.Self, "self")
	case *VehicleFact:
		l.when(f.Known, "known")
	case *KnownFact:
		l.word(f.Quantity)
		l.value("original", f.Original)
		l.value("left", f.Left)
		l.field("fitted", f.Fitted.Text)
	case *VINFact:
		l.word(f.Check)
	case *OdometerFact:
		l.figure(f.Value, f.Unit)
		l.word(f.When)
	default:
		l.work(e)
	}
	return l.String()
}

// line puts words and fields together; empty ones are left out.
type line struct{ strings.Builder }

func (l *line) word(words ...string) {
	for _, w := range words {
		if w == "" {
			continue
		}
		if l.Len() > 0 {
			l.WriteByte(' ')
		}
		l.WriteString(w)
	}
}

func (l *line) when(on bool, word string) {
	if on {
		l.word(word)
	}
}

func (l *line) field(name, v string) {
	if v != "" {
		l.word(name + "=" + v)
	}
}

// by names the role of who did it, nothing for the assistant.
func (l *line) by(r Role) { l.when(r != "", "by "+string(r)) }

func (l *line) number(name string, v float64) {
	if v != 0 {
		l.field(name, shortNumber(v))
	}
}

func (l *line) value(name string, v Value) {
	if !v.Zero() {
		l.field(name, shortValue(v))
	}
}

// figure is a number with its unit, nothing where both are empty.
func (l *line) figure(v float64, unit string) {
	if v != 0 || unit != "" {
		l.word(shortNumber(v), unit)
	}
}

func (l *line) list(name string, items []string) {
	if len(items) > 0 {
		l.field(name, strings.Join(items, ","))
	}
}

// shortNumber is the shortest decimal for what was recorded, to a thousandth.
func shortNumber(v float64) string {
	return strings.TrimSuffix(strings.TrimRight(strconv.FormatFloat(v, 'f', 3, 64), "0"), ".")
}

func shortValue(v Value) string {
	if v.Label != "" {
		return v.Label
	}
	return shortNumber(v.Num)
}

// knownValue is a value, or a dash where it is not known.
func knownValue(v Value) string {
	if v.Zero() {
		return "-"
	}
	return shortValue(v)
}

// work is the line of what belongs to the work on the vehicle.
func (l *line) work(e Entry) {
	switch f := e.Fact.(type) {
	case *ChecklistFact:
		l.word(f.List)
		var lines []string
		for _, n := range f.Lines {
			lines = append(lines, strconv.Itoa(n))
		}
		l.list("lines", lines)
		l.number("volts", f.Volts)
	case *CodesFact:
		l.word(f.When)
		l.field("module", f.Module)
		l.when(len(f.List)+len(f.Lamps) == 0, "none")
		l.list("codes", f.List)
		l.list("lamps", f.Lamps)
		l.list("new", f.New)
		l.list("new-lamps", f.NewLamps)
	case *SizeFact:
		l.word(f.Which, f.Text)
		if f.DiameterMM > 0 {
			l.word(strconv.FormatFloat(f.DiameterMM, 'f', 1, 64), "mm")
		}
	case *StoredFact:
		l.stored(f)
	case *FileFact:
		l.word(f.Use, f.Type, strconv.FormatInt(f.Bytes, 10))
	case *BackupFact:
		l.backup(e, f)
	case *TargetFact:
		l.word(shortValue(f.Value), f.Unit, f.Quantity)
		l.word(shortNumber(f.Low) + ".." + shortNumber(f.High))
		l.field("limited", f.Limited)
		l.field("module", f.Module)
	case *WriteFact:
		l.word(strconv.Itoa(f.Change), f.Word, f.Why)
		l.word(shortValue(f.From), shortValue(f.To))
		l.field("module", f.Module)
		l.field("setting", f.Setting)
		l.when(f.Of > 0, "of "+strconv.Itoa(f.Of))
	case *ChangeFact:
		l.word(strconv.Itoa(f.Number), knownValue(f.Before), knownValue(f.After))
		l.value("read_back", f.ReadBack)
		l.field("took", strconv.FormatBool(f.Took))
		l.field("module", f.Module)
		l.field("why", f.Why)
		l.when(f.Of > 0, "of "+strconv.Itoa(f.Of))
		l.when(f.Setting == "other" || f.Setting == axleSetting || f.Setting == "backup", f.Setting)
	default:
		l.drive(e)
	}
}

func (l *line) stored(f *StoredFact) {
	l.word(shortValue(f.Value), f.Unit, f.Quantity, f.Which)
	l.when(f.Estimated, "estimated")
	l.field("module", f.Module)
	l.number("step", f.Step)
	if f.Min != nil || f.Max != nil {
		l.field("limits", limitWord(f.Min)+".."+limitWord(f.Max))
	}
	l.when(len(f.List) > 0, fmt.Sprintf("list=%d", len(f.List)))
	l.field("direction", f.Direction)
	l.field("questioned", f.Questioned)
	l.field("shown", f.Shown)
}

func limitWord(v *float64) string {
	if v == nil {
		return ""
	}
	return shortNumber(*v)
}

func (l *line) backup(e Entry, f *BackupFact) {
	switch {
	case f.ValuesOnly:
		l.word("values only")
	case f.Attested:
		l.word("attested")
	default:
		l.word(e.Item(ItemFile), strconv.FormatInt(f.Bytes, 10))
		l.when(e.Item(ItemSHA256) != "", "sha256")
	}
	l.field("module", f.Module)
}

// drive is the line of what was read, worked out and decided.
func (l *line) drive(e Entry) {
	switch f := e.Fact.(type) {
	case *DriveFact:
		l.word(strconv.Itoa(f.Drive), f.What)
		l.value("at", f.Value)
		l.word(f.Source)
		l.number("odometer", f.Odometer)
		l.number("track", f.Track)
	case *ReadingFact:
		l.word(shortNumber(f.Indicated), shortNumber(f.Reference))
		l.field("drive", strconv.Itoa(f.Drive))
		l.when(f.TrackMean, "track")
		l.when(f.Struck, "struck")
		l.when(f.Questioned, "questioned")
	case *StruckFact:
		l.word(strconv.Itoa(f.Number), f.What)
		if f.What == "swapped" || f.What == "corrected" {
			l.word(shortNumber(f.Indicated), shortNumber(f.Reference))
		}
	case *TrackFact:
		l.word(f.Format)
		l.field("drive", strconv.Itoa(f.Drive))
		l.field("stretches", strconv.Itoa(len(f.Stretches)))
	case *ErrorsFact:
		l.value("value", f.Value)
		for _, x := range f.Errors {
			l.word(shortNumber(x.At) + ":" + shortNumber(x.Before) + ">" + shortNumber(x.After) + "±" + shortNumber(x.PlusMinus))
		}
	case *DecisionFact:
		l.word(f.Do)
		if !f.Value.Zero() {
			l.word(shortValue(f.Value))
		}
		l.number("near", f.Near)
		l.field("because", f.Reason)
	default:
		l.people(e)
	}
}

// people is the line of what people decided about the job, and of the rest.
func (l *line) people(e Entry) {
	switch f := e.Fact.(type) {
	case *GateFact:
		l.word(string(f.Name))
		l.field("open", strconv.FormatBool(f.Open))
	case *HoldFact:
		l.word(f.What)
		l.value("value", f.Value)
		l.word(f.Now)
		if f.Now != "asked" {
			l.by(e.Role)
		}
		l.when(f.Self, "self")
		l.field("module", f.Module)
	case *WaiverFact:
		l.word(string(f.Gate))
		l.by(e.Role)
		l.when(f.Approved, "approved")
		l.when(f.Self, "self")
	case *AmendedFact:
		l.word(string(f.Question), f.About)
		if f.From != "" || f.To != "" {
			l.word(f.From, "->", f.To)
		}
		l.field("by", f.By)
		l.when(f.Waits, "waits")
	case *DeviationFact:
		l.word(f.What)
		l.value("value", f.Value)
		l.field("module", f.Module)
		l.when(f.Undone, "undone")
		l.when(f.Own > 0, "change "+strconv.Itoa(f.Own))
	case *PauseFact:
		l.word(map[bool]string{true: "on", false: "off"}[f.Paused])
	case *HandOverFact:
		l.when(f.To == "", "absent")
		l.when(f.Sup, "reassigned")
	case *SignOffFact:
		l.by(e.Role)
		l.when(f.Self, "self")
	case *AlertFact:
		l.word(f.What, "to", string(f.To))
		l.when(f.Told, "told")
		l.when(f.Room, "in the alert room")
	case *StoppedFact:
		l.word(f.How)
	case *ReminderFact:
		l.word(f.What, f.Day)
		l.when(f.Done, "done")
	case *InviteFact:
		l.when(f.Used, "used")
	case *CautionFact:
		l.word(f.Key)
	case *ErasedFact:
		l.word(strconv.Itoa(len(f.Items)), f.Why)
	}
}
