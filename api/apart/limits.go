package apart

import "time"

// Limits bound one process.
type Limits struct {
	// AddressBytes bounds the address space, of which Go and the libraries
	// reserve much and use little. Smaller refuses large photos.
	AddressBytes uint64
	// DataBytes bounds the memory that is really the process's own. Larger lets
	// one photo press other programs out of the machine.
	DataBytes uint64
	// CPU bounds the computing time, over all processors, in whole seconds.
	CPU time.Duration
	// Wall bounds the time on the clock, also while it waits.
	Wall time.Duration
}

// LimitsFor gives the bounds for a photo of so many pixels. On photos of 7 and
// 48 megapixels a measurement reserved 2.7 and 5.1 GB, used 0.6 and 2.7 GB and
// computed for 5 and 22 seconds; the bounds lie well above, for slower machines
// and busier photos.
func LimitsFor(pixels int) Limits {
	n := uint64(max(pixels, 0))
	cpu := 60*time.Second + time.Duration(n/1_000_000)*8*time.Second
	return Limits{AddressBytes: 4<<30 + 112*n, DataBytes: 1<<30 + 96*n, CPU: cpu, Wall: 2 * cpu}
}

// and gives the bounds for two photos that are measured one after the other in
// one process: the memory of the larger, the time of both.
func (l Limits) and(o Limits) Limits {
	return Limits{AddressBytes: max(l.AddressBytes, o.AddressBytes), DataBytes: max(l.DataBytes, o.DataBytes), CPU: l.CPU + o.CPU, Wall: l.Wall + o.Wall}
}
