package flow

import "slices"

func (s *State) applyDrive(f *DriveFact) {
	n := len(s.Drives)
	if f.What == "dropped" {
		s.Drives = slices.DeleteFunc(slices.Clone(s.Drives), func(d DriveState) bool { return d.Drive == f.Drive && !d.Started })
		return
	}
	if n == 0 || s.Drives[n-1].Drive != f.Drive {
		s.Drives = append(s.Drives, DriveState{DriveFact: *f, Changes: len(s.Changes)})
		n++
		if m := s.Main(); m != nil && m.WrittenSeq > 0 {
			s.Drives[n-1].ReadBack = m.Now
		}
	}
	d := &s.Drives[n-1]
	switch f.What {
	case "go":
		d.Started = true
	case "parked":
		d.Started, d.Parked = true, true
	}
	if f.Source != "" {
		d.Source = f.Source
	}
	if len(f.Speeds) > 0 {
		d.Speeds = f.Speeds
	}
	if f.Track > 0 {
		d.Odometer, d.Track = f.Odometer, f.Track
	}
}

func (s *State) applyStruck(f *StruckFact) {
	for i := range s.Readings {
		r := &s.Readings[i]
		if r.Number != f.Number {
			continue
		}
		switch f.What {
		case "struck":
			r.Struck, r.Questioned = true, false
		case "kept":
			r.Struck, r.Questioned = false, false
		case "questioned":
			r.Questioned, r.Expected = true, f.Expected
		case "corrected", "swapped":
			r.Indicated, r.Reference, r.Questioned = f.Indicated, f.Reference, false
			r.DashStep, r.GPSStep = f.DashStep, f.GPSStep
		}
	}
}
