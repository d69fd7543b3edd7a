package bot

import "testing"

// What is said of the set of tyres is no part of a vehicle's name.
func TestVehicleKeyWithoutTheSet(t *testing.T) {
	want := vehicleKey("s", "vehicle", "unit 14")
	for _, text := range []string{"Unit 14, winter set on", "unit-14 winter tyres", "unit 14 back on the factory tyres", "unit 14 (summer wheels)"} {
		if vehicleKey("s", "vehicle", text) != want {
			t.Errorf("%q is not known as unit 14", text)
		}
	}
	for _, text := range []string{"unit 15", "unit 14b", "new van"} {
		if vehicleKey("s", "vehicle", text) == want {
			t.Errorf("%q is taken for unit 14", text)
		}
	}
}
