package flow

import (
	"regexp"
	"slices"
	"strings"

	"milepost/flow/understand"
	"milepost/flow/words"
)

// backupPhase insists on a copy of the original data of every module that will
// be written: nothing is written before it.
func backupPhase() phaseOf {
	return phaseOf{Questions: []question{
		undoQuestion(),
		{ID: QBackup, Done: (*State).backedUp, Ask: askBackup, Take: takeBackup,
			Why: "why.backup", Help: "help.backup", Hint: "hint.backup"},
	}, Next: func(t *turn) Event { return EvKept }}
}

// lacking is the first module without a backup, and whether there are others.
func (s *State) lacking() (name string, one bool) {
	for i := range s.Modules {
		if !s.hasBackup(s.Modules[i].Name) {
			return s.Modules[i].Name, len(s.Modules) == 1
		}
	}
	return "", true
}

func askBackup(t *turn) {
	name, one := t.s.lacking()
	key := "backup.ask"
	if !one {
		key = "backup.ask.module"
	}
	t.ask(QBackup, name, key, words.Args{"Module": t.moduleWord(name), "Number": len(t.s.Modules)}, "cannot_save")
}

func takeBackup(t *turn, in *input) bool {
	name, one := t.s.lacking()
	if ms := understand.Modules(in.Text); len(ms) > 0 && t.s.Module(ms[0].Value) != nil {
		name = ms[0].Value
	}
	if !one && allInOne(in.Text) && !t.s.HasFor(QBackup, oneFile) {
		t.record(&AnswerFact{Question: QBackup, About: oneFile, Value: "yes"})
		if in.File == nil && !keptSomewhere(onePattern.ReplaceAllString(in.Text, "")) {
			t.hint("backup.where", nil) // one file, but which and where?
			return true
		}
	}
	if t.s.HasFor(QBackup, oneFile) {
		name = ""
	}
	if in.File != nil {
		return t.takeBackupFile(in, name)
	}
	text := strings.TrimSpace(in.Text)
	switch {
	case in.Choice == "cannot_save" || cannotSave(text):
		t.ask(QBackup, name, "backup.values", nil, "values_noted")
		return true
	case in.Choice == "values_noted" || strings.Contains(strings.ToLower(text), "values only"),
		t.s.Asked != nil && slices.Contains(t.s.Asked.Choices, "values_noted") && valuesNoted(text):
		t.record(&BackupFact{Attested: true, ValuesOnly: true, Module: name}, Item{ItemWhere, short(text)})
		t.understood("echo.backup.values", nil)
		in.Text = ""
		return true
	}
	// "yes" or "done" says nothing of where the copy is.
	sure := false
	if a, ok := understand.YesNo(text); ok {
		rest := strings.Trim(text[a.End:], " ,.;:")
		if rest == "" || a.Value != understand.Yes {
			t.hint("backup.where", nil)
			return true
		}
		if noCopy(text) { // "do it on the laptop" begins like a yes
			in.ask = nil
			return false
		}
		text, sure = rest, true
	}
	if !keptSomewhere(text) {
		switch maybe := keptMaybe(text); {
		case !maybe:
			in.ask = nil
			return false
		case !sure:
			t.hint("backup.there", words.Args{"Said": short(text)})
			return true
		}
	}
	text = itsPattern.ReplaceAllString(text, "")
	t.record(&BackupFact{Attested: true, Module: name}, Item{ItemWhere, text})
	t.understood("echo.backup.attested", words.Args{"Where": short(text)})
	in.Text = ""
	return true
}

// takeBackupFile checks of an upload what can be checked. A picture of the
// screen is an attested value, not a copy.
func (t *turn) takeBackupFile(in *input, name string) bool {
	f := in.File
	switch {
	case f.Bytes == 0:
		t.hint("backup.empty", fileArgs(f))
		return true
	case f.Web:
		t.hint("backup.web", fileArgs(f))
		return true
	case f.Elsewhere:
		t.hint("backup.elsewhere", fileArgs(f))
		return true
	case strings.HasPrefix(f.Type, "image/"):
		t.keepFile(f, "photo")
		t.record(&BackupFact{Attested: true, ValuesOnly: true, Module: name}, Item{ItemWhere, f.Name})
		t.understood("echo.backup.photo", fileArgs(f))
		return true
	}
	if name != "" && f.SHA256 != "" && f.SHA256 == t.s.BackupHash && !t.s.hasBackup(name) {
		t.hint("backup.same", words.Args{"Name": f.Name, "Module": t.moduleWord(name)})
		return true
	}
	t.keepFile(f, "backup")
	t.record(&BackupFact{Bytes: f.Bytes, Module: name}, Item{ItemFile, f.Name}, Item{ItemSHA256, f.SHA256})
	t.understood("echo.backup.file", fileArgs(f))
	return true
}

// oneFile is what a backup answer is about that says one file holds all modules.
const oneFile = "one_file"

var onePattern = regexp.MustCompile(`(?i)\b(?:all|both|everything)?\s*(?:of them|modules)?\s*(?:is|are)?\s*in (?:the )?(?:one|same) file\b`)

// upgrades takes a file that comes after an attestation as the copy itself.
func (t *turn) upgrades(f *File) bool {
	if f.Bytes == 0 || f.Web || f.Elsewhere || f.Track != nil || strings.HasPrefix(f.Type, "image/") ||
		t.s.Phase == PhaseClosed || t.s.Driving() {
		return false
	}
	for i := range t.s.Backups {
		b := t.s.Backups[i]
		if !b.Attested || b.ValuesOnly || t.s.hasFile(b.Module) {
			continue
		}
		t.keepFile(f, "backup")
		t.record(&BackupFact{Bytes: f.Bytes, Module: b.Module}, Item{ItemFile, f.Name}, Item{ItemSHA256, f.SHA256})
		t.understood("echo.backup.file", fileArgs(f))
		return true
	}
	return false
}

// hasFile says whether a copy of a module's data was uploaded.
func (s *State) hasFile(module string) bool {
	for _, b := range s.Backups {
		if !b.Attested && (b.Module == "" || b.Module == module) {
			return true
		}
	}
	return false
}

func allInOne(text string) bool {
	t := strings.ToLower(text)
	return strings.Contains(t, "all of them") || strings.Contains(t, "all modules") || strings.Contains(t, "one file") || strings.Contains(t, "both")
}

func cannotSave(text string) bool {
	t := strings.ToLower(text)
	for _, w := range []string{"can't save", "cannot save", "cant save", "can not save", "no way to save", "doesn't save", "does not save", "no save"} {
		if strings.Contains(t, w) {
			return true
		}
	}
	return false
}
