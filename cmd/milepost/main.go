// Command milepost walks a technician through correcting a vehicle's stored speedometer value.
package main

func main() {}
